"""Long names: what is taken works everywhere, and what is longer is refused in a sentence that does not hold it."""

import json

import pytest

from geometry import DescriptionError, HingeleafError, parse_description
from geometry.__main__ import main
from geometry.design.editing import free_id, refuse_id

LONGEST = "h" * 200
SCENE = (
    'format = 1\n[page]\nsize = "A6"\n[stock.card]\n[[mechanism]]\nkind = "v-fold"\nid = "{}"\nfold = "spine"\n'
    "at = 60\nangle = 45\nheight = 30\n"
)


def test_the_longest_name_works_in_every_command(tmp_path, capsys):
    scene, book = tmp_path / "scene.toml", tmp_path / "book.toml"
    scene.write_text(SCENE.format(LONGEST), encoding="utf-8")
    book.write_text('format = 1\n[[spread]]\nfile = "scene.toml"\n[[spread]]\nfile = "scene.toml"\n', encoding="utf-8")
    out = str(tmp_path / "out")
    commands = (
        ["check", str(scene)],
        ["nets", str(scene), "--out", out, "--format", "svg,pdf,dxf"],
        ["templates", str(scene), "--out", out, "--dpi", "60", "--format", "png,svg,white", "--test-card"],
        ["poses", str(scene), "--angles", "0:180:90", "--out", str(tmp_path / "poses.json")],
        ["booklet", str(scene), "--out", f"{out}/booklet.pdf"],
        ["check", str(book)],
        ["nets", str(book), "--out", f"{out}/book"],
    )
    for command in commands:
        assert main(command) in (0, 1), (command[0], capsys.readouterr().err)
    assert (tmp_path / "out" / f"{LONGEST}-front-template-on-white.png").is_file()
    panels = json.loads((tmp_path / "poses.json").read_text())["panels"]
    assert f"{LONGEST}.left" in {panel["id"] for panel in panels}


@pytest.mark.parametrize("length", [201, 300, 10_000])
def test_a_longer_one_is_refused_and_not_repeated(length):
    with pytest.raises(DescriptionError) as caught:
        parse_description(SCENE.format("h" * length))
    said = str(caught.value)
    assert f"line 7: mechanism number 1 (v-fold), id: has {length} characters; a name has at most 200" in said
    assert len(said) < 400


def test_a_long_name_of_a_stock_and_of_an_unknown_kind():
    with pytest.raises(DescriptionError, match="has 201 characters; a name has at most 200"):
        parse_description(SCENE.format("hill").replace("[stock.card]", f"[stock.{'c' * 201}]"))
    with pytest.raises(DescriptionError) as caught:
        parse_description(SCENE.format("h" * 5000).replace("v-fold", "v-hold"))
    assert len(str(caught.value)) < 400


@pytest.mark.parametrize("name", ["a.b", "a/b", "../a", "a b", "1a", "", "page", "spine", "hügel", "a\\\\b"])
def test_odd_ones_are_refused(name):
    with pytest.raises(DescriptionError, match="must be a name of letters, digits, - and _"):
        parse_description(SCENE.format(name))


def test_names_given_by_copying_are_no_longer():
    description = parse_description(SCENE.format(LONGEST))
    name = free_id(description, LONGEST)
    assert (name, len(name)) == (f"{'h' * 198}-2", 200)
    refuse_id(description, name)
    with pytest.raises(HingeleafError, match=r'"h{20}\.\.\." has 201 characters; a name has at most 200'):
        refuse_id(description, "h" * 201)
