"""The commands on a bound book: what they write, say and return."""

import io
import json
import os
import threading
import warnings
from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from PIL import Image

with warnings.catch_warnings():
    warnings.simplefilter("ignore", DeprecationWarning)  # from its compiled part, on import
    import pymupdf

from geometry.__main__ import main
from geometry.binding import read_bound
from geometry.binding.cover_net import TURN_IN_MM, cover_artwork, cover_sizes, cover_spread
from geometry.binding.order import order_steps
from geometry.specification import specification
from tests.geometry import judge
from tests.geometry.binding_books import BARE, HILL, OUTSIDE, STEP, THREE, WHEEL, write_book

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture
def book(tmp_path) -> Path:
    return write_book(tmp_path, THREE)


def run(*words: object) -> int:
    return main([str(word) for word in words])


def test_check_reports_every_spread_and_the_binding(book, capsys, tmp_path) -> None:
    assert run("check", book, "--json", tmp_path / "check.json") == 0
    text = capsys.readouterr().out
    heads = [line for line in text.splitlines() if line.startswith("==")]
    assert heads == ["== 1 hill ==", "== 2 tent ==", "== 3 step ==", "== The binding =="]
    assert "leaf-glue" in text.split("== The binding ==")[1]
    data = json.loads((tmp_path / "check.json").read_text())
    assert [spread["name"] for spread in data["spreads"]] == ["hill", "tent", "step"]
    assert data["spreads"][0]["page_mm"] == [148, 210]
    bound = read_bound(book)
    assert data["binding"]["thickness_mm"] == pytest.approx(bound.thickness_mm)
    assert data["binding"]["spine_mm"] == pytest.approx(bound.thickness_mm - 4.0)
    assert {finding["code"] for finding in data["binding"]["findings"]} == {"leaf-glue", "thickness"}


def test_check_exits_1_where_the_binding_is_wrong_and_2_where_the_book_is(tmp_path, capsys) -> None:
    assert run("check", write_book(tmp_path, {"bare": BARE, "out": OUTSIDE})) == 1
    assert "ERROR   leaf-collides" in capsys.readouterr().out
    (tmp_path / "out.toml").unlink()
    assert run("check", tmp_path / "book.toml", "--json", tmp_path / "wrong.json") == 2
    assert '"out.toml" is not there' in capsys.readouterr().err
    assert json.loads((tmp_path / "wrong.json").read_text())["problems"][0]["line"] == 6


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["check", "BOOK", "--apply", "closes-flat"], "--apply is for one spread"),
        (["check", "BOOK", "--bulk-map", "map.svg"], "--bulk-map is for one spread"),
        (["cost", "BOOK", "--compare", "BOOK"], "--compare is for one spread"),
        (["fit", "BOOK", "--mechanism", "a", "--wish", "largest", "--free", "b"], "is a bound book"),
        (["poses", "BOOK", "--turns", "0:9:1", "--out", "x.json"], "turns lie between 0, closed on its back, and 4"),
        (["poses", "BOOK", "--turns", "zero", "--out", "x.json"], "write start:stop:step, e.g. 0:4:0.1"),
        (["poses", "BOOK", "--turns", "1", "--angles", "3", "--out", "x.json"], "leave out --angles and --hand"),
        (["poses", "BOOK", "--hand", "door=3", "--out", "x.json"], "in a bound book write SPREAD/ID=VALUE"),
        (["poses", "BOOK", "--hand", "hill/door=3", "--out", "x.json"], "no hand moves door"),
        (["poses", "SPREAD", "--turns", "1", "--out", "x.json"], "--turns turns a bound book"),
        (["booklet", "BOOK", "--out", "x.pdf"], "--out must name a folder"),
        (["booklet", "BOOK", "--out", "x" * 300], "the folder cannot be made"),
        (["booklet", "BOOK", "--out", "x", "--paper", "A9"], 'paper "A9" is not known'),
        (["nets", "BOOK", "--out", "x", "--format", "gif"], "write one or more of svg"),
        (["nets", "BOOK", "--out", "x", "--format", "svg", "--nicks", "0.4"], "write cutting among the formats"),
    ],
)
def test_what_cannot_be_done_is_said_and_nothing_is_written(book, monkeypatch, capsys, words, said) -> None:
    monkeypatch.chdir(book.parent)
    before = sorted(book.parent.rglob("*"))
    named = [{"BOOK": str(book), "SPREAD": str(book.with_name("hill.toml"))}.get(word, word) for word in words]
    assert run(*named) == 2
    assert said in capsys.readouterr().err
    assert sorted(book.parent.rglob("*")) == before


def test_poses_lays_the_spreads_beside_each_other_and_the_judge_takes_them(book, tmp_path) -> None:
    assert run("poses", book, "--angles", "0:180:30", "--out", tmp_path / "p.json") == 0
    data = json.loads((tmp_path / "p.json").read_text())
    scene = judge.posed(data)
    assert judge.rigid_error(scene) < 1e-9
    assert max(judge.hinge_gap(scene, hinge) for hinge in scene.hinges) < 1e-6
    spines = [hinge for hinge in scene.hinges if hinge["kind"] == "spine"]
    # The step cuts its spine in two.
    assert [hinge["panels"] for hinge in spines] == [
        [f"{name}/page.left", f"{name}/page.right"] for name in ("hill", "tent", "step", "step")
    ]
    for hinge in spines:
        assert hinge["dihedral"].tolist() == pytest.approx(list(range(0, 181, 30)))
    assert all(panel["piece"].startswith(panel["id"].split("/")[0] + "/") for panel in data["panels"])
    lows = [scene.corners(f"{name}/page.right")[0, :, 1].min() for name in THREE]
    assert np.diff(lows).tolist() == pytest.approx([230.0, 230.0])


def test_poses_moves_the_hands_of_a_spread(tmp_path) -> None:
    path = write_book(tmp_path, {"bare": BARE, "wheel": WHEEL})
    words = ("poses", path, "--angles", "180", "--out", tmp_path / "p.json")
    assert run(*words) == 0
    rest = json.loads((tmp_path / "p.json").read_text())
    assert run(*words, "--hand", "wheel/sky=90") == 0
    moved = json.loads((tmp_path / "p.json").read_text())
    assert [hand["id"] for hand in moved["hands"]] == ["wheel/sky"]
    assert moved["hands"][0]["value"] == pytest.approx(90.0)
    changed = [one["id"] for one, two in zip(rest["panels"], moved["panels"], strict=True) if one != two]
    assert changed == ["wheel/sky.disc"]


def test_poses_turns_the_whole_book(book, tmp_path) -> None:
    assert run("poses", book, "--turns", "0:4:0.25", "--out", tmp_path / "t.json") == 0
    data = json.loads((tmp_path / "t.json").read_text())
    leaves, openings = np.array(data["leaves_deg"]), np.array(data["openings_deg"])
    assert len(data["turns"]) == len(leaves) == 17
    assert openings == pytest.approx(leaves[:, :-1] - leaves[:, 1:])
    bound = read_bound(book)
    assert {panel["id"] for panel in data["panels"]} == {
        f"{name}/{panel}" for name, spread in zip(bound.names, bound.spreads, strict=True) for panel in spread.panels
    }
    assert [board["id"] for board in data["boards"]] == ["front", "back"]
    for item in [*data["panels"], *data["boards"]]:
        matrices = np.array(item["matrices"])
        turn = matrices[:, :3, :3]
        assert np.abs(turn @ turn.transpose(0, 2, 1) - np.eye(3)).max() < 1e-9
    front, back = (np.array(board["matrices"])[0] for board in data["boards"])
    assert front[2, 3] - back[2, 3] == pytest.approx(bound.thickness_mm)
    # The dihedral between the pages, from their normals, is the opening.
    pages = {panel["id"]: np.array(panel["matrices"])[:, :3, 2] for panel in data["panels"] if "page" in panel["id"]}
    for index, name in enumerate(THREE):
        cosine = (pages[f"{name}/page.left"] * pages[f"{name}/page.right"]).sum(axis=1)
        assert -cosine == pytest.approx(np.cos(np.radians(openings[:, index])), abs=1e-9)


def test_nets_get_a_folder_each_and_one_for_the_cover(book, tmp_path, capsys) -> None:
    assert run("nets", book, "--out", tmp_path / "nets", "--json", tmp_path / "nets.json") == 0
    assert sorted(path.name for path in (tmp_path / "nets").iterdir()) == ["1-hill", "2-tent", "3-step", "cover"]
    for folder in (tmp_path / "nets").iterdir():
        assert {file.suffix for file in folder.iterdir()} == {".svg", ".pdf", ".dxf"}, folder
    written = json.loads((tmp_path / "nets.json").read_text())["written"]
    assert all(Path(path).is_file() for path in written)
    assert "== cover ==" in capsys.readouterr().out


def test_the_cover_is_cut_as_large_as_its_boards(book, tmp_path) -> None:
    """Pages of 148 x 210, square 2.5: boards 150.5 x 215; between them the block and a board's thickness twice."""
    bound = read_bound(book)
    sizes = cover_sizes(bound)
    assert sizes.board == pytest.approx((150.5, 215.0))
    assert sizes.spine == pytest.approx(bound.thickness_mm - 4.0)
    assert sizes.wrap == pytest.approx((2 * (150.5 + 2.0 + 15.0) + sizes.spine, 245.0))
    assert run("nets", book, "--out", tmp_path / "nets", "--format", "svg") == 0
    widths = {}
    for file in sorted((tmp_path / "nets" / "cover").glob("*.svg")):
        for group in ElementTree.parse(file).getroot().iter(f"{SVG}g"):
            if group.get("data-class") == "cut":
                for piece in group.iter(f"{SVG}g"):
                    if piece.get("data-piece"):
                        numbers = [_points(path.get("d")) for path in piece.iter(f"{SVG}path")]
                        widths[piece.get("data-piece")] = np.ptp(np.concatenate(numbers), axis=0)
    assert sorted(np.round(widths["front"], 3)) == pytest.approx([150.5, 215.0])
    assert sorted(np.round(widths["back"], 3)) == pytest.approx([150.5, 215.0])
    assert sorted(np.round(widths["spine"], 3)) == pytest.approx([sizes.spine, 215.0], abs=2e-3)
    assert sorted(np.round(widths["wrap"], 3)) == pytest.approx(sorted(sizes.wrap), abs=2e-3)


def _points(data: str) -> np.ndarray:
    numbers = [float(word) for word in data.replace(",", " ").translate(str.maketrans("MLZ", "   ")).split()]
    return np.array(numbers).reshape(-1, 2)


def test_corners_of_the_wrap_meet_and_do_not_overlap(book) -> None:
    """Turned in at 45 degrees, one and a half boards beyond the corner of the board (common practice)."""
    bound = read_bound(book)
    sizes, spread = cover_sizes(bound), cover_spread(bound)
    corner = np.array([sizes.wrap[0] / 2 - TURN_IN_MM, 210 + 2.5])
    ring = np.array(spread.panels["wrap"].outline.exterior.coords)
    away = []
    for start, end in pairwise(ring):
        (x, y), (u, v) = end - start, corner - start
        slanted = abs(abs(x) - abs(y)) < 1e-9
        if slanted and min(start[0], end[0]) > 0 and min(start[1], end[1]) > 105:
            away.append(abs(x * v - y * u) / np.hypot(x, y))
    assert away == pytest.approx([1.5 * 2.0])


def test_artwork_of_the_cover_lies_on_its_boards(tmp_path) -> None:
    """Red in front, blue behind: seen from outside the front board lies at the right."""
    Image.new("RGB", (301, 430), (200, 0, 0)).save(tmp_path / "front.png")
    Image.new("RGB", (301, 430), (0, 0, 200)).save(tmp_path / "back.png")
    cover = '[cover]\ncolor = "#00c800"\nart_front = "front.png"\nart_back = "back.png"\n'
    path = write_book(tmp_path, {"hill": HILL, "step": STEP}, cover)
    bound = read_bound(path)
    assert cover_artwork(bound) is not None
    assert run("nets", path, "--out", tmp_path / "nets", "--format", "pdf") == 0
    (file,) = (tmp_path / "nets" / "cover").glob("*.pdf")
    sizes = cover_sizes(bound)
    with pymupdf.open(file) as document:
        page = document[0]
        picture = page.get_pixmap(dpi=72)
        seen = np.frombuffer(picture.samples, dtype=np.uint8).reshape(picture.height, picture.width, -1)[..., :3]
    red = (seen[..., 0] > 150) & (seen[..., 1] < 80) & (seen[..., 2] < 80)
    blue = (seen[..., 2] > 150) & (seen[..., 0] < 80) & (seen[..., 1] < 80)
    green = (seen[..., 1] > 150) & (seen[..., 0] < 80) & (seen[..., 2] < 80)
    assert red.any()
    assert blue.any()
    assert green.any()
    across = [np.flatnonzero(mask.any(axis=0)) for mask in (blue, red)]
    assert across[0].max() < across[1].min()
    # Board and 3 mm of bleed on each side, at 72 dots an inch.
    for columns in across:
        assert np.ptp(columns) * 25.4 / 72 == pytest.approx(sizes.board[0] + 6.0, abs=1.0)


def test_artwork_of_the_cover_that_is_not_there_is_noted_and_what_is_no_picture_refused(tmp_path, capsys) -> None:
    path = write_book(tmp_path, {"hill": HILL}, '[cover]\nart_front = "gone.png"\n')
    assert run("nets", path, "--out", tmp_path / "nets", "--format", "svg") == 0
    assert "the artwork of the front board, gone.png, is not there: it stays plain" in capsys.readouterr().out
    (tmp_path / "gone.png").write_text("no picture", encoding="utf-8")
    assert run("nets", path, "--out", tmp_path / "other", "--format", "svg") == 2
    assert "is no picture that can be read" in capsys.readouterr().err
    assert not (tmp_path / "other").exists()


def test_without_artwork_the_cover_is_flat_colour(book) -> None:
    bound = read_bound(book)
    assert cover_artwork(bound) is None
    assert cover_spread(bound).pieces[0].color_front == bound.cover.color


def test_cost_sums_the_spreads_and_adds_the_cover(book, tmp_path, capsys) -> None:
    assert run("cost", book, "--json", tmp_path / "cost.json") == 0
    text = capsys.readouterr().out
    data = json.loads((tmp_path / "cost.json").read_text())
    bound = read_bound(book)
    specs = [specification(spread) for spread in bound.spreads]
    assert data["total"]["glue_points"] == sum(spec.glue_points for spec in specs)
    assert data["total"]["cut_mm"] == pytest.approx(sum(spec.cut_mm for spec in specs))
    board = (2 * 150.5 + bound.thickness_mm - 4.0) * 215.0
    assert data["binding"]["board_area_mm2"] == pytest.approx(board)
    # Grey board of 625 g/m2 for each mm of thickness, and the cloth.
    cloth = data["binding"]["wrap_area_mm2"] * 150e-6
    assert data["binding"]["cover_weight_g"] == pytest.approx(board * 1250e-6 + cloth)
    assert data["total"]["weight_g"] == pytest.approx(
        sum(spec.weight_g for spec in specs) + data["binding"]["cover_weight_g"]
    )
    for name in THREE:
        assert f"\n  {name}: " in text
    assert f"closed {bound.thickness_mm:.1f} mm" in text


def test_a_booklet_a_spread_and_one_for_the_binding(book, tmp_path) -> None:
    out = tmp_path / "booklets"
    assert run("booklet", book, "--out", out, "--json", tmp_path / "b.json") == 0
    assert sorted(path.name for path in out.iterdir()) == ["1-hill.pdf", "2-tent.pdf", "3-step.pdf", "binding.pdf"]
    assert json.loads((tmp_path / "b.json").read_text())["steps"][-1] == len(order_steps(read_bound(book)))
    with pymupdf.open(out / "binding.pdf") as document:
        text = " ".join(" ".join(page.get_text().split()) for page in document)
    assert "Order of binding" in text
    assert "brush glue thinly on the back of the right page of hill" in text
    assert "free of glue, about step.left" in text


def test_the_order_of_binding_names_every_leaf_once(book) -> None:
    steps = "\n".join(order_steps(read_bound(book)))
    assert [steps.count(f"Leaf {leaf}:") for leaf in (1, 2, 3)] == [1, 1, 0]
    assert steps.index("right page of step on it") < steps.index("left page of hill, shut the front board")


def test_nothing_is_drawn_over_a_printed_cover(book) -> None:
    """A plain wrap shows where its three boards go; over a picture such lines would be printed with it."""
    binding = read_bound(book)
    assert [area.glued for area in cover_spread(binding).glue_areas] == ["front.board", "back.board", "spine.board"]
    assert cover_spread(binding, "cover.png").glue_areas == ()


def colors_of_the_boards(folder: Path, spreads: dict[str, str], size: tuple[int, int]) -> tuple[np.ndarray, list[int]]:
    """The wrap of a book, red in front and blue behind, and the columns where the boards begin and end."""
    Image.new("RGB", size, (200, 0, 0)).save(folder / "front.png")
    Image.new("RGB", size, (0, 0, 200)).save(folder / "back.png")
    cover = '[cover]\nboard = 0.5\nart_front = "front.png"\nart_back = "back.png"\n'
    bound = read_bound(write_book(folder, spreads, cover))
    sizes, data = cover_sizes(bound), cover_artwork(bound)
    assert data is not None
    with Image.open(io.BytesIO(data)) as image:
        pixels = np.asarray(image.convert("RGB")).astype(int)
    dots = min(300 / 25.4, size[0] / sizes.board[0])
    left = -pixels.shape[1] / dots / 2
    edges = [sizes.board_left(side) + more for side in ("back", "front") for more in (0.0, sizes.board[0])]
    return pixels, [round((edge - left) * dots) for edge in edges]


def test_the_bleed_of_a_board_stays_off_the_other_board(tmp_path) -> None:
    """A thin book: its boards are 1.6 mm apart, less than the bleed of 3 mm."""
    pixels, (_, back, front, end) = colors_of_the_boards(tmp_path, {"bare": BARE}, (1806, 2580))
    row = pixels[len(pixels) // 2]
    red, blue = row[:, 0] > 150, row[:, 2] > 150
    assert red[front + 1 : end - 1].all()
    assert blue[back - 500 : back - 1].all()
    middle = (back + front) / 2
    assert abs(np.flatnonzero(red).min() - middle) <= 2
    assert abs(np.flatnonzero(blue).max() - middle) <= 2
    assert np.flatnonzero(red).max() == pytest.approx(end + 3 * 300 / 25.4, abs=2)


def test_artwork_of_one_pixel_makes_a_wrap(tmp_path) -> None:
    slender = BARE.replace('"A5"', "[400, 10]")
    pixels, _ = colors_of_the_boards(tmp_path, {"bare": slender}, (1, 1))
    assert min(pixels.shape[:2]) >= 1


def test_a_folder_that_cannot_be_written_leaves_all_as_they_were(book, tmp_path, capsys) -> None:
    out = tmp_path / "nets"
    in_the_way = out / "3-step" / "step-nets-1.svg"
    in_the_way.mkdir(parents=True)
    assert run("nets", book, "--out", out, "--format", "svg") == 2
    assert "step-nets-1.svg: cannot be written" in capsys.readouterr().err
    assert list(out.rglob("*.svg")) == [in_the_way]


def test_folders_of_an_earlier_run_are_noted(book, tmp_path, capsys) -> None:
    out = tmp_path / "nets"
    (out / "2-mine").mkdir(parents=True)
    assert run("nets", book, "--out", out, "--format", "svg") == 0
    assert "earlier run" not in capsys.readouterr().out
    changed = write_book(tmp_path, {"tent": THREE["tent"], "hill": HILL})
    assert run("nets", changed, "--out", out, "--format", "svg") == 0
    said = [line.split()[2] for line in capsys.readouterr().out.splitlines() if "is left from an earlier run" in line]
    assert said == ["1-hill", "2-tent", "3-step"]


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with names here")
@pytest.mark.parametrize("command", [["check"], ["templates", "--dpi", "30", "--format", "svg", "--out", "OUT"]])
def test_a_spread_is_read_from_a_pipe(tmp_path, command) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    writer = threading.Thread(target=pipe.write_text, args=(HILL,), daemon=True)
    writer.start()
    name, *more = command
    assert run(name, pipe, *[str(tmp_path / "out") if word == "OUT" else word for word in more]) == 0
    writer.join(10)


def test_one_spread_is_one_spread(tmp_path, capsys) -> None:
    assert run("check", write_book(tmp_path, {"bare": BARE})) == 0
    assert "  1 spread of pages of 148 x 210 mm" in capsys.readouterr().out


def test_the_file_of_a_spread_is_named_where_it_lies(tmp_path, capsys) -> None:
    (tmp_path / "sea").mkdir()
    (tmp_path / "sea" / "hill.toml").write_text(HILL, encoding="utf-8")
    path = tmp_path / "book.toml"
    path.write_text('format = 1\n[[spread]]\nfile = "sea/hill.toml"\n', encoding="utf-8")
    assert run("check", path, "--apply", "bulk") == 2
    assert "e.g. sea/hill.toml" in capsys.readouterr().err
