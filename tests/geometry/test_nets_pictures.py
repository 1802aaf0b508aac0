"""Pictures come out in sRGB: unchanged where they are so, converted where they bring another profile or kind."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image, ImageCms

from geometry import FileError
from geometry.nets.pictures import read_picture

SRGB = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()


def swapped_profile():
    """A profile of another name whose red is the green of sRGB, and the other way round."""
    data = SRGB.replace("sRGB".encode("utf-16-be"), "swap".encode("utf-16-be"))
    red, green = data.index(b"rXYZ"), data.index(b"gXYZ")
    tags = bytearray(data)
    tags[red : red + 4], tags[green : green + 4] = b"gXYZ", b"rXYZ"
    return bytes(tags)


def pixel(picture, place=(3, 3)):
    return Image.open(io.BytesIO(picture.data)).getpixel(place)


@pytest.mark.parametrize("mode", ["RGB", "RGBA", "L", "P", "1", "LA"])
@pytest.mark.parametrize("profile", [None, SRGB])
def test_srgb_stays_as_it_is_to_the_byte(tmp_path, mode, profile):
    Image.new("RGB", (20, 10), (200, 30, 90)).convert(mode).save(tmp_path / "art.png", icc_profile=profile)
    picture = read_picture(str(tmp_path / "art.png"))
    assert picture.data == (tmp_path / "art.png").read_bytes()
    assert (picture.mime, picture.width, picture.height) == ("image/png", 20, 10)


@pytest.mark.parametrize("mode", ["RGB", "RGBA"])
def test_another_profile_is_converted(tmp_path, mode):
    Image.new("RGB", (20, 10), (200, 30, 90)).convert(mode).save(tmp_path / "art.png", icc_profile=swapped_profile())
    found = pixel(read_picture(str(tmp_path / "art.png")))
    np.testing.assert_allclose(found[:3], (30, 200, 90), atol=2)
    assert found[3:] == ((255,) if mode == "RGBA" else ())


def test_a_profile_of_another_kind_of_picture_is_left_out(tmp_path):
    lab = ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes()
    Image.new("RGB", (20, 10), (200, 30, 90)).save(tmp_path / "art.png", icc_profile=lab)
    assert pixel(read_picture(str(tmp_path / "art.png"))) == (200, 30, 90)


def test_inks_become_srgb(tmp_path):
    Image.new("CMYK", (20, 10), (0, 255, 255, 0)).save(tmp_path / "art.jpg")
    picture = read_picture(str(tmp_path / "art.jpg"))
    assert picture.mime == "image/png"
    np.testing.assert_allclose(pixel(picture), (255, 0, 0), atol=3)


def test_sixteen_bits_keep_their_greys(tmp_path):
    Image.fromarray(np.arange(65536, dtype=np.uint16).reshape(256, 256)).save(tmp_path / "art.png")
    picture = read_picture(str(tmp_path / "art.png"))
    assert [pixel(picture, (0, row)) for row in (0, 128, 255)] == [(0, 0, 0), (128, 128, 128), (255, 255, 255)]


def test_what_is_no_picture_is_refused(tmp_path):
    (tmp_path / "art.png").write_bytes(b"\x89PNG\r\n\x1a\nbroken")
    with pytest.raises(FileError, match="use PNG or JPEG"):
        read_picture(str(tmp_path / "art.png"))
