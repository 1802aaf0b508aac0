"""Pictures come out in sRGB: unchanged where they are so, converted where they bring another profile or kind."""

from __future__ import annotations

import io
import struct

import numpy as np
import pytest
from PIL import Image, ImageCms

from geometry import FileError
from geometry.artwork import opened_picture, picture_size
from geometry.nets.pictures import prints_as_it_is, read_picture

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


def linear_profile():
    """A profile named as that of sRGB is, with its colours, whose curves are straight lines (ICC.1, 10.18, type 0)."""
    data, place = bytearray(SRGB), SRGB.index(b"para")
    while place >= 0:
        data[place + 8 : place + 16] = struct.pack(">HHi", 0, 0, 1 << 16)
        place = SRGB.find(b"para", place + 1)
    return bytes(data)


@pytest.mark.parametrize("mode", ["RGB", "RGBA"])
def test_linear_srgb_is_another_profile_whatever_its_name(tmp_path, mode):
    """IEC 61966-2-1: a linear 55/255 is 1.055 (55/255)^(1/2.4) - 0.055 of 255, 128."""
    profile = linear_profile()
    assert "srgb" in ImageCms.getProfileDescription(ImageCms.ImageCmsProfile(io.BytesIO(profile))).lower()
    Image.new("RGB", (20, 10), (55, 55, 55)).convert(mode).save(tmp_path / "art.png", icc_profile=profile)
    assert not prints_as_it_is(tmp_path / "art.png")
    expected = 255 * (1.055 * (55 / 255) ** (1 / 2.4) - 0.055)
    np.testing.assert_allclose(pixel(read_picture(str(tmp_path / "art.png")))[:3], expected, atol=2)


def test_srgb_by_another_name_stays_to_the_byte(tmp_path):
    profile = SRGB.replace("sRGB".encode("utf-16-be"), "swap".encode("utf-16-be"))
    Image.new("RGB", (20, 10), (200, 30, 90)).save(tmp_path / "art.png", icc_profile=profile)
    assert prints_as_it_is(tmp_path / "art.png")
    assert read_picture(str(tmp_path / "art.png")).data == (tmp_path / "art.png").read_bytes()


@pytest.mark.parametrize(("mode", "key"), [("RGB", (200, 30, 90)), ("L", 90), ("1", 0), ("P", 0)])
def test_one_clear_color_becomes_alpha(tmp_path, mode, key):
    """PNG 1.2, 4.2.1.1: tRNS of greys and colours names the one that is clear; not all writers heed it."""
    image = Image.new(mode, (20, 10), key)
    image.paste(1 if mode == "P" else 255 if mode != "RGB" else (9, 8, 7), (10, 0, 20, 10))
    image.save(tmp_path / "art.png", transparency=key)
    assert prints_as_it_is(tmp_path / "art.png") == (mode == "P")
    drawn = Image.open(io.BytesIO(read_picture(str(tmp_path / "art.png")).data))
    assert drawn.mode == ("P" if mode == "P" else "RGBA")
    alpha = drawn.convert("RGBA").getchannel("A")
    assert (alpha.getpixel((3, 3)), alpha.getpixel((13, 3))) == (0, 255)


def test_floating_point_numbers_are_refused(tmp_path):
    Image.new("F", (20, 10), 0.5).save(tmp_path / "art.tif")
    with pytest.raises(FileError, match=r"art\.tif: its colours are floating-point numbers.*8 or 16 bits"):
        read_picture(str(tmp_path / "art.tif"))


def broken_exif(value):
    """Metadata whose tag of orientation is a text (EXIF 2.3, 4.6.4, has it a short)."""
    body = b"II*\0" + struct.pack("<IHHHI", 8, 1, 0x0112, 2, len(value)) + value.ljust(4, b"\0") + bytes(4)
    return b"Exif\0\0" + body


@pytest.mark.parametrize("exif", [broken_exif(b"up"), broken_exif(b"up")[:19], b"Exif\0\0II*\0\xff\xff\xff\xff"])
def test_broken_metadata_keeps_no_sound_picture_out(tmp_path, exif):
    Image.new("RGB", (80, 40), "red").save(tmp_path / "art.jpg", exif=exif)
    picture = read_picture(str(tmp_path / "art.jpg"))
    assert (picture.mime, picture.width, picture.height) == ("image/jpeg", 80, 40)
    assert picture_size(tmp_path / "art.jpg") == (80, 40)


@pytest.mark.parametrize("turn", range(1, 9))
@pytest.mark.parametrize("name", ["art.jpg", "art.tif"])
def test_all_ways_a_picture_lies(tmp_path, turn, name):
    """EXIF 2.3, 4.6.4: where the first row and the first column of the file are seen, and so its first pixel."""
    corner = {1: "upper left", 2: "upper right", 3: "lower right", 4: "lower left"} | {
        5: "upper left", 6: "upper right", 7: "lower right", 8: "lower left"
    }  # fmt: skip
    image = Image.new("RGB", (80, 40), "blue")
    image.paste("red", (0, 0, 16, 16))
    exif = Image.Exif()
    exif[0x0112] = turn
    image.save(tmp_path / name, exif=exif)
    size = (80, 40) if turn < 5 else (40, 80)
    with opened_picture(tmp_path / name) as upright:
        upright.load()
        assert upright.size == size == picture_size(tmp_path / name)
        down, across = corner[turn].split()
        place = 4 if across == "left" else size[0] - 4, 4 if down == "upper" else size[1] - 4
        assert np.argmax(upright.convert("RGB").getpixel(place)) == 0


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


@pytest.mark.parametrize("name", ["art.jpg", "art.png"])
@pytest.mark.parametrize(
    ("turn", "upper", "size"), [(3, "blue", (80, 40)), (6, "red", (40, 80)), (8, "blue", (40, 80))]
)
def test_lying_pictures_are_turned_upright(tmp_path, name, turn, upper, size):
    """As a camera notes that it was held (EXIF 2.3, 4.6.4): 6, turn it to the right; 8, to the left; 3, upside down."""
    image = Image.new("RGB", (80, 40), "red")
    image.paste("blue", (40, 0, 80, 40))
    exif = Image.Exif()
    exif[0x0112] = turn
    image.save(tmp_path / name, exif=exif)
    picture = read_picture(str(tmp_path / name))
    assert (picture.mime, picture.width, picture.height) == ("image/png", *size)
    first = np.array(pixel(picture, (3, 3)))
    assert np.argmax(first) == (0 if upper == "red" else 2)
    assert Image.open(io.BytesIO(picture.data)).getexif().get(0x0112, 1) == 1


def test_of_an_animation_the_first_picture_is_printed(tmp_path):
    frames = [Image.new("RGB", (20, 10), color) for color in ((9, 8, 7), (1, 2, 3))]
    frames[0].save(tmp_path / "art.png", save_all=True, append_images=frames[1:])
    picture = read_picture(str(tmp_path / "art.png"))
    assert getattr(Image.open(io.BytesIO(picture.data)), "n_frames", 1) == 1
    assert pixel(picture)[:3] == (9, 8, 7)


def test_a_lying_picture_keeps_its_profile_while_it_is_turned(tmp_path):
    exif = Image.Exif()
    exif[0x0112] = 6
    Image.new("RGB", (20, 10), (200, 30, 90)).save(tmp_path / "art.png", icc_profile=swapped_profile(), exif=exif)
    np.testing.assert_allclose(pixel(read_picture(str(tmp_path / "art.png"))), (30, 200, 90), atol=2)


@pytest.mark.parametrize(
    ("name", "image", "options", "as_it_is"),
    [
        ("a.png", Image.new("RGB", (20, 10)), {}, True),
        ("a.jpg", Image.new("RGB", (20, 10)), {}, True),
        ("a.tif", Image.new("RGB", (20, 10)), {}, False),
        ("b.jpg", Image.new("CMYK", (20, 10)), {}, False),
        ("b.png", Image.new("RGB", (20, 10)), {"icc_profile": swapped_profile()}, False),
    ],
)
def test_what_prints_as_it_is_is_told_from_its_head(tmp_path, name, image, options, as_it_is):
    image.save(tmp_path / name, **options)
    assert prints_as_it_is(tmp_path / name) == as_it_is
    unchanged = read_picture(str(tmp_path / name)).data == (tmp_path / name).read_bytes()
    assert unchanged == as_it_is
