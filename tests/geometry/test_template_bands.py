"""Pictures of templates are drawn in bands: never held as a whole, and the same pixels as in one go."""

import subprocess
import sys

import numpy as np
import pytest
from PIL import Image

from geometry import assemble, parse_description
from geometry.templates import TemplateOptions, raster, write_templates
from tests.geometry.scene_texts import HEAD, HILL, ROOT

#: What the largest memory of the process is after templates of one piece were written, MB.
PEAK = """
import resource, sys
from geometry import assemble, read_description
from geometry.templates import TemplateOptions, write_templates
options = TemplateOptions(dpi=float(sys.argv[3]), formats=("png", "white"), pieces=("page",), test_card=True)
written = write_templates(assemble(read_description(sys.argv[1])), sys.argv[2], options)
scale = 1024**2 if sys.platform == "darwin" else 1024
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / scale)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="Windows does not say it in this way")
def test_no_picture_is_ever_held_as_a_whole(tmp_path):
    """At 400 dpi the pages are 4756 by 3402 pixels: as RGBA 65 MB for each of the guides and the card."""
    scene = tmp_path / "scene.toml"
    scene.write_text(HEAD + HILL, encoding="utf-8")
    peaks = []
    for dpi in (60, 400):
        command = [sys.executable, "-c", PEAK, str(scene), str(tmp_path / str(dpi)), str(dpi)]
        done = subprocess.run(command, capture_output=True, text=True, cwd=ROOT, check=True)
        peaks.append(float(done.stdout))
    with Image.open(tmp_path / "400" / "page-front-test-card.png") as card:
        assert card.width * card.height * 4 > 64e6
    assert peaks[1] - peaks[0] < 65.0, peaks


def test_bands_of_a_picture_meet(monkeypatch, tmp_path):
    """Drawn in one go, and a few rows at a time: the same pixels."""
    scene = assemble(parse_description(HEAD + HILL))
    options = TemplateOptions(dpi=150, formats=("png", "white"), pieces=("hill",), test_card=True)
    write_templates(scene, tmp_path / "whole", options)
    monkeypatch.setattr(raster, "_AT_ONCE", 40_000)
    write_templates(scene, tmp_path / "bands", options)
    pictures = sorted((tmp_path / "whole").glob("*.png"))
    assert len(pictures) == 6
    for picture in pictures:
        whole, bands = (
            np.asarray(Image.open(tmp_path / each / picture.name)).astype(int) for each in ("whole", "bands")
        )
        assert (whole == bands).all(), picture.name
