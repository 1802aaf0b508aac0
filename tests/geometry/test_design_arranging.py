"""Arranging: what stands on what, deleting, renaming, copying, standing elsewhere; books that can be built stay so."""

from __future__ import annotations

import tomllib
from random import Random

import pytest

from geometry import DescriptionError, HingeleafError, assemble, parse_description, read_description
from geometry.description.fields import HOSTS
from geometry.design.arranging import delete, dependents, hosts_of, move_in_order, rehost, rename
from geometry.design.copying import cutting, duplicate, family, paste
from geometry.design.editing import add_mechanism, free_id, set_page, set_stock, set_title, set_values
from geometry.design.mirroring import mirror
from geometry.trees import owner_of
from tests.geometry.random_scenes import random_scene
from tests.geometry.scene_texts import BIG, COMMENTED, FILES, HEAD, SCENES, rider, rider_on, tent, v_fold

ALL = [pytest.param(lambda file=file: read_description(file), id=file.stem) for file in FILES]
ALL += [pytest.param(lambda text=text: parse_description(text), id=name) for name, text in SCENES.items()]


def _scene(name):
    return read_description(next(file for file in FILES if file.stem == name))


def _ids(description):
    return [spec.id for spec in description.mechanisms]


def _assert_sound(description):
    again = parse_description(description.text, source=description.source, folder=description.folder)
    assert again == description
    ids = _ids(description)
    assert len(set(ids)) == len(ids)
    for spec in description.mechanisms:
        assert {owner_of(name) for name in hosts_of(spec).values()} <= {*ids, "page", "spine"}


def test_what_stands_on_what():
    demo = read_description(next(file for file in FILES if file.name == "low-tide.toml"))
    assert dependents(demo, "cliff") == ("cave", "crab", "steps", "lighthouse")
    assert dependents(demo, "crab") == ()
    assert hosts_of(demo.mechanisms[1]) == {"fold": "cliff.middle"}
    assert dependents(_scene("scenery"), "stage") == ("trees", "hills")
    assert dependents(_scene("pull-strip"), "lid") == ("pull",)
    assert family(_scene("pull-strip"), "pull") == ("lid", "pull")
    assert dependents(_scene("strap-between-v-folds"), "far") == ("roof", "arm", "bird")
    with pytest.raises(HingeleafError, match="there is no mechanism"):
        dependents(demo, "clif")


@pytest.mark.parametrize("read", ALL)
def test_a_book_can_be_built_after_deleting_and_renaming_anything(read):
    description = read()
    for spec in description.mechanisms:
        less = delete(description, spec.id)
        _assert_sound(less)
        assert set(_ids(less)) == set(_ids(description)) - {spec.id, *dependents(description, spec.id)}
        assemble(less)
        renamed = rename(description, spec.id, "other-name")
        _assert_sound(renamed)
        assert rename(renamed, "other-name", spec.id) == description
        built, before = assemble(renamed), assemble(description)
        assert len(built.panels) == len(before.panels)
        assert not any(owner_of(name) == spec.id for name in built.panels)


@pytest.mark.parametrize("read", ALL)
def test_a_book_can_be_built_with_a_copy_of_anything_but_a_cut_in_without_room(read):
    description = read()
    for spec in description.mechanisms:
        copied, names = _copy_where_there_is_room(description, spec.id)
        if copied is description:
            assert spec.kind == "slit-cut-in"
            continue
        _assert_sound(copied)
        assert spec.id in names
        spread = assemble(copied)
        assert all(any(owner_of(panel) == name for panel in spread.panels) for name in names.values())
        kept = [item.values for item in copied.mechanisms if item.id not in names.values()]
        assert kept == [item.values for item in description.mechanisms]
        _assert_on_the_page(spread, copied, names[spec.id], description)


def _copy_where_there_is_room(description, name):
    try:
        return duplicate(description, name)
    except HingeleafError as error:
        if "there is no room for a copy" not in str(error):
            raise
        return description, {}


def _assert_on_the_page(spread, copied, name, description):
    """A copy's place on a panel is no nearer to the panel's edge than its like's, or well inside."""
    spec = next(item for item in copied.mechanisms if item.id == name)
    if spec.values.get("panel", "").startswith("page."):
        x, y = spec.values["at"]
        assert 0 < abs(x) < description.page.width_mm
        assert 0 < y < description.page.height_mm


def test_a_copy_stands_beyond_what_it_is_a_copy_of_with_all_that_stands_on_it():
    description = parse_description(
        HEAD + BIG + tent("house", "hill.middle", "at = 10; length = 20; base = 9; height = 15")
    )
    copied, names = duplicate(description, "hill")
    assert names == {"hill": "hill-2", "house": "house-2"}
    assert copied.mechanisms[2].values["at"] > description.mechanisms[0].values["at"]
    assert copied.mechanisms[3].values["fold"] == "hill-2.middle"
    copied, names = duplicate(description, "house", along_mm=22)
    assert copied.mechanisms[2].values["at"] == 32.0
    assert copied.mechanisms[2].values["fold"] == "hill.middle"
    riders = parse_description(HEAD + rider_on("sun", "page.left", "at = [-70, 100]; size = [40, 30]"))
    copied, _ = duplicate(riders, "sun")
    assert copied.mechanisms[1].values["at"] != riders.mechanisms[0].values["at"]


def test_a_strip_is_copied_with_the_lid_that_it_opens():
    copied, names = duplicate(_scene("pull-strip"), "pull")
    assert names == {"lid": "lid-2", "pull": "pull-2"}
    assert copied.mechanisms[-1].values["drives"] == "lid-2"


def test_without_what_drives_it_a_flap_is_opened_by_hand():
    less = delete(_scene("pull-strip"), "pull")
    assert _ids(less) == ["lid"]
    assert "driven" not in less.mechanisms[0].values
    less = delete(_scene("flap"), "roof")
    assert "arm" not in _ids(less)
    assert {hand.id for hand in assemble(less).hands} == {"door", "hatch", "shutter"}
    assert _ids(delete(_scene("flap"), "shutter")) == ["door", "hatch", "roof"]


def test_comments_of_others_and_of_the_file_survive_a_deletion():
    less = delete(parse_description(COMMENTED), "hill")
    start, rest = COMMENTED.split("# the hill itself")
    assert less.text == start + rest[rest.index('[[mechanism]]\nkind = "tent"') :]
    assert delete(less, "tent").text.rstrip() == start.rstrip()
    assert (
        delete(parse_description(COMMENTED), "tent").text.rstrip()
        == COMMENTED[: COMMENTED.index('[[mechanism]]\nkind = "tent"')].rstrip()
    )


@pytest.mark.parametrize(
    ("name", "words"), [("tent", "already"), ("page", "no name"), ("a b", "no name"), ("", "no name")]
)
def test_a_name_that_cannot_be_borne_is_refused(name, words):
    with pytest.raises(HingeleafError, match=words):
        rename(parse_description(COMMENTED), "hill", name)


def test_renaming_follows_every_key_that_names_something():
    description = _scene("strap-between-v-folds")
    renamed = rename(description, "far", "near-2")
    assert renamed.mechanisms[2].values["to"] == "near-2.right"
    assert rename(_scene("scenery"), "stage", "box").mechanisms[1].values["box"] == "box"
    assert rename(_scene("pull-strip"), "lid", "cover").mechanisms[1].values["drives"] == "cover"
    assert set(HOSTS) == {"fold", "panel", "from", "to", "drives", "box"}


def test_order_in_the_file():
    description = parse_description(
        HEAD + "# first\n" + v_fold("a") + "\n# second\n" + v_fold("b") + v_fold("c").rstrip("\n")
    )
    moved = move_in_order(description, "a", 1)
    assert _ids(moved) == ["b", "a", "c"]
    assert moved.text == HEAD + "# second\n" + v_fold("b") + "\n# first\n" + v_fold("a") + v_fold("c").rstrip("\n")
    assert move_in_order(moved, "a", -1) == description
    assert _ids(move_in_order(description, "a", 9)) == ["b", "c", "a"]
    assert move_in_order(description, "b", 0) == description
    _assert_sound(move_in_order(description, "c", -2))


def test_standing_on_another_fold_or_panel():
    text = HEAD + BIG + tent("roof", body='at = 150; length = 40; base = 30; height = 40; side = "valley"')
    text += rider("sign", "roof.middle", 'at = [0, 20]; size = [20, 10]; side = "mountain"')
    description = parse_description(text + rider_on("sun", "hill.left", "at = [-30, 60]; size = [50, 20]; turn = 5"))
    spread = assemble(description)
    moved = rehost(description, spread, "roof", fold="hill.middle")
    assert moved.mechanisms[1].values["at"] == 50.0
    assert moved.mechanisms[1].values["side"] == "valley"
    _assert_sound(moved)
    moved = rehost(description, spread, "roof", fold="hill.left", side="outer", at=12)
    assert (moved.mechanisms[1].values["fold"], moved.mechanisms[1].values["at"]) == ("hill.left", 12.0)
    assert "side" not in rehost(description, spread, "roof", fold="hill.left").mechanisms[1].values
    moved = rehost(description, spread, "sun", panel="page.right", at=(70, 60))
    assert assemble(moved).panels["sun"].parent == "page.right"
    moved = rehost(description, spread, "sun", fold="hill.middle", side="mountain", at=50)
    assert assemble(moved).panels["sun.left"].parent == "hill.left"
    moved = rehost(description, spread, "sign", panel="roof.left")
    assert assemble(moved).panels["sign"].parent == "roof.left"


@pytest.mark.parametrize(
    ("name", "place", "words"),
    [
        ("hill", {"fold": "roof.middle"}, "stands on it"),
        ("hill", {"fold": "hill.left"}, "stands on it"),
        ("roof", {"fold": "hill.midle"}, "did you mean hill.middle"),
        ("roof", {"fold": "hill.left", "side": "valley"}, "choose outer or inner"),
        ("roof", {"panel": "page.left"}, "stands on a fold"),
        ("sun", {"panel": "page.lef"}, "did you mean page.left"),
        ("roof", {}, "say which"),
        ("roof", {"fold": "spine", "at": (1, 2)}, "one number"),
        ("arch", {"panel": "page.left"}, "could not stand on it any longer"),
        ("door", {"fold": "spine"}, "on one panel"),
    ],
)
def test_where_nothing_can_stand(name, place, words):
    text = HEAD + BIG + tent("roof", "hill.middle", "at = 40; length = 30; base = 12; height = 20")
    text += rider_on("sun", "hill.left", "at = [-30, 60]; size = [50, 20]")
    text += rider("arch", "spine", "at = [0, 170]; size = [60, 60]") + v_fold(
        "bird", "arch.middle", "at = 0; angle = 45; height = 20"
    )
    text += '[[mechanism]]\nkind = "flap"\nid = "door"\npanel = "page.right"\nat = [90, 20]\nlength = 20\n'
    description = parse_description(text)
    with pytest.raises(HingeleafError, match=words):
        rehost(description, assemble(description), name, **place)


def test_a_strip_takes_its_flap_along():
    description = _scene("pull-strip")
    for name, at in (("pull", (-106, 90)), ("lid", (-50, 90))):
        moved = rehost(description, assemble(description), name, panel="page.left", at=at)
        assert {
            panel.parent for panel in assemble(moved).panels.values() if panel.id in ("lid.flap", "pull.strip")
        } == {"page.left"}


@pytest.mark.parametrize("read", ALL)
def test_a_cutting_is_a_description_and_can_be_put_back(read):
    description = read()
    for spec in description.mechanisms:
        if spec.kind == "strap":
            with pytest.raises(HingeleafError, match="joins two panels"):
                cutting(description, spec.id)
            continue
        text = cutting(description, spec.id)
        cut = parse_description(text, folder=description.folder)
        assert cut.mechanisms[0].id == spec.id
        hosts = hosts_of(spec)
        place = {"fold": hosts.get("fold"), "panel": hosts.get("panel", hosts.get("box"))}
        less = delete(description, spec.id)
        if not {owner_of(name) for name in hosts.values()} - {"page", "spine"} <= set(_ids(less)):
            continue
        pasted, ids = paste(less, text, **place, side=spec.values.get("side"))
        _assert_sound(pasted)
        assert ids[0] == spec.id
        if spec.kind != "pull-strip" and not spec.values.get("driven"):
            assert next(item for item in pasted.mechanisms if item.id == spec.id).values == spec.values
        assemble(pasted)


def test_a_cutting_goes_into_another_book():
    demo = read_description(next(file for file in FILES if file.name == "low-tide.toml"))
    text = cutting(demo, "cliff")
    assert tomllib.loads(text)["stock"]["card"]["grammage"] == 240
    assert assemble(parse_description(text, folder=demo.folder)).panels
    book = parse_description('format = 1\n[page]\nsize = "A5"\n[stock.board]\ngrammage = 400\n' + v_fold("cave"))
    pasted, ids = paste(book, text, fold="spine", at=100, art=False)
    assert ids == ("cliff", "cave-2", "crab", "steps", "lighthouse")
    specs = {spec.id: spec for spec in pasted.mechanisms}
    assert specs["cliff"].values["stock"] == "board"
    assert specs["cliff"].values["at"] == 100.0
    assert not any(key.startswith("art") for spec in pasted.mechanisms for key in spec.values)
    assert specs["crab"].values["fold"] == "cave-2.middle"
    assert assemble(pasted).panels
    with pytest.raises(HingeleafError, match="stands on a fold; choose one"):
        paste(book, text, panel="page.left")
    with pytest.raises(HingeleafError, match="no mechanism in this text"):
        paste(book, HEAD, fold="spine")
    with pytest.raises(DescriptionError):
        paste(book, "nonsense", fold="spine")
    sun = cutting(demo, "sun")
    pasted, ids = paste(book, sun, panel="cave.left", at=(-20, 30))
    assert pasted.mechanisms[-1].values["panel"] == "cave.left"
    assert pasted.mechanisms[-1].values["at"] == (-20.0, 30.0)


def test_mechanisms_in_an_inline_list_are_written_as_tables_first():
    items = "{kind = 'v-fold', id = 'hill', fold = 'spine', at = 60, angle = 45, height = 50}"
    items += ", {kind = 'rider', id = 'sun', panel = 'hill.left', at = [-30, 30], size = [20, 10]}"
    description = parse_description(HEAD.replace("[page]", f"# kept\nmechanism = [{items}]\n[page]"))
    for changed in (
        rename(description, "hill", "mount"),
        delete(description, "sun"),
        move_in_order(description, "hill", 1),
        duplicate(description, "hill")[0],
        mirror(description, assemble(description), "sun")[0],
        add_mechanism(description, "tent", "t", {"fold": "spine", "at": 120, "length": 9, "base": 9, "height": 9}),
    ):
        _assert_sound(changed)
        assert "# kept" in changed.text
        assemble(changed)


def _act(description, rng):
    """One random action of a person at work; what is refused is refused in words and changes nothing."""
    spread = None
    name = rng.choice(_ids(description)) if description.mechanisms else ""
    action = rng.choice(
        ["set", "set", "delete", "rename", "duplicate", "mirror", "rehost", "order", "paste", "add", "top"]
    )
    if not name:
        action = "add"
    if action in ("mirror", "rehost"):
        spread = assemble(description)
    spec = next((spec for spec in description.mechanisms if spec.id == name), None)
    if action == "set":
        keys = [key for key in ("height", "width", "length", "base") if isinstance(spec.values.get(key), float)]
        key = rng.choice(keys or ["title"])
        key = key if rng.random() < 0.5 or key in ("title", "length") else f"{key}_left"
        return set_values(description, name, {key: "x" if key == "title" else rng.uniform(3, 60)})
    if action == "delete":
        return delete(description, name)
    if action == "rename":
        return rename(description, name, rng.choice(["a", "b", "c", "d-1", "e_2"]))
    if action == "duplicate":
        return duplicate(description, name, along_mm=rng.choice([None, rng.uniform(-20, 20)]))[0]
    if action == "mirror":
        return mirror(description, spread, name)[0]
    if action == "rehost":
        if "fold" in spec.values and rng.random() < 0.8:
            return rehost(description, spread, name, fold=rng.choice(list(spread.folds))[0])
        return rehost(description, spread, name, panel=rng.choice(list(spread.panels)))
    if action == "order":
        return move_in_order(description, name, rng.randint(-3, 3))
    if action == "paste":
        return paste(description, cutting(description, name), fold="spine", panel="page.left", at=None)[0]
    if action == "add":
        new = free_id(description, "v-fold")
        return add_mechanism(description, "v-fold", new, {"fold": "spine", "at": 50, "angle": 45, "height": 30})
    description = set_title(description, rng.choice(["one", "two"]))
    return set_stock(
        set_page(description, {"margin": rng.choice([None, 2.5])}), "thin", {"grammage": rng.choice([100, 120])}
    )


def test_after_any_sequence_of_actions_the_text_says_what_the_description_is():
    done = refused = 0
    for seed in range(300):
        rng = Random(seed)
        text = FILES[seed % len(FILES)].read_text(encoding="utf-8") if seed % 3 == 0 else random_scene(seed, 4)
        description = parse_description(text, folder=FILES[seed % len(FILES)].parent)
        for _ in range(6):
            before = description
            try:
                changed = _act(description, rng)
            except HingeleafError:
                refused += 1
                assert description == before
                continue
            _assert_sound(changed)
            done += 1
            if len(changed.mechanisms) < 15:
                description = changed
    assert done > 900, (done, refused)
