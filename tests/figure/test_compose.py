"""Plates put together: mirror identity, frames, words, signs, labels beside the figure."""

from __future__ import annotations

import itertools
import re
import xml.etree.ElementTree as ElementTree
from dataclasses import replace

import pytest

from sidewise.errors import UserError
from sidewise.figure import LAYERS, MARK_KINDS, Arms, Atlas, Composed, Mark, compose, leaders
from sidewise.figure.compose import SEEN_FROM
from sidewise.figure.leaders import cramped, with_columns
from sidewise.figure.marks import filled, sign
from sidewise.figure.paint import COLOURS, PAINT
from sidewise.figure.svg import STYLE, svg
from tests.figure.conftest import every_choice

CLOSE_UPS = [view for view in SEEN_FROM if "close-up" in view or "armpit" in view]


def mirrored(plate: Composed) -> set[tuple[str, str, str, bool]]:
    """A plate's paired shapes as its mirror image has them."""
    return {
        (s.kind, s.name, s.path, not s.mirrored) for s in plate.shapes if not on_midline(s.name)
    }


def on_midline(name: str) -> bool:
    """Bones drawn once for both sides."""
    return name == "sternum" or (name[:1] in "CTL" and name[1:].isdecimal())


@pytest.mark.parametrize("view", ["front", "back"])
def test_right_and_left_swapped_is_the_mirror_image(atlas: Atlas, view: str) -> None:
    arms = Arms(atlas.choose("flexion", 150.0), atlas.choose("abduction", 60.0))
    one = compose(atlas, view, arms, layers=LAYERS)
    other = compose(atlas, view, Arms(arms.left, arms.right), layers=LAYERS)
    assert {
        (s.kind, s.name, s.path, s.mirrored) for s in other.shapes if not on_midline(s.name)
    } == mirrored(one)
    assert len(mirrored(one)) > 60
    left, top, width, height = one.frame
    assert other.frame == (-(left + width), top, width, height)


def test_left_side_is_the_mirror_of_right_in_every_posture(atlas: Atlas) -> None:
    choices = every_choice(atlas)
    assert len(choices) == 73
    for choice in choices:
        right, left = (
            compose(atlas, f"{side} side", Arms(choice, choice), layers=LAYERS)
            for side in ("right", "left")
        )
        assert [(s.kind, s.path) for s in right.shapes] == [(s.kind, s.path) for s in left.shapes]
        assert {s.mirrored for s in right.shapes} == {False}
        assert {s.mirrored for s in left.shapes} == {True}


def test_targets_of_the_left_are_mirrored_and_named_left(atlas: Atlas) -> None:
    plate = compose(atlas, "front")
    where = {(t.place, t.side): t for t in plate.targets}
    right, left = where["coracoid", "right"], where["coracoid", "left"]
    assert (left.x, left.y) == (-right.x, right.y)
    assert (right.label, left.label) == ("right coracoid process", "left coracoid process")
    assert [t.side for t in plate.targets if t.place == "sternum"] == ["midline"]


@pytest.mark.parametrize(
    ("view", "on_the_left"), [("front", "patient's right"), ("back", "patient's left")]
)
def test_side_words_move_with_the_picture(atlas: Atlas, view: str, on_the_left: str) -> None:
    plate = compose(atlas, view)
    assert min(plate.letters, key=lambda letter: letter.x).text == on_the_left
    # The right arm itself is on the side that says so.
    right = next(t for t in plate.targets if t.side == "right")
    beside = min(plate.letters, key=lambda letter: abs(letter.x - right.x))
    assert beside.text == "patient's right"


@pytest.mark.parametrize("view", list(SEEN_FROM))
def test_every_view_is_well_formed_and_says_what_it_is(atlas: Atlas, view: str) -> None:
    found = ElementTree.fromstring(svg(compose(atlas, view, layers=LAYERS)))
    assert found.attrib["role"] == "img"
    title = found.find("{http://www.w3.org/2000/svg}title")
    assert title is not None
    assert title.text
    assert len(found.findall(".//{http://www.w3.org/2000/svg}path")) > 20


def test_postures_are_said_in_words(atlas: Atlas) -> None:
    arms = Arms(atlas.choose("flexion", 100.0), atlas.choose("abduction", 60.0, hitching=True))
    assert compose(atlas, "front", arms).words == (
        "right: flexion 100 degrees, drawn at 105",
        "left: abduction 60 degrees, hitching",
    )


def test_everything_marked_is_said_even_where_it_is_not_seen(atlas: Atlas) -> None:
    mark = Mark("tender", "left", "left teres minor: tender", "teres_minor", grade=2)
    front = compose(atlas, "front", marks=(mark,))
    assert front.signs == ()
    assert front.words == ("left teres minor: tender",)
    (drawn,) = compose(atlas, "back", marks=(mark,)).signs
    assert drawn.letter == "L"
    assert drawn.x < 0


def test_two_signs_on_one_place_stand_side_by_side(atlas: Atlas) -> None:
    marks = (Mark("tender", "right", "tender", "acj"), Mark("swollen", "right", "swollen", "acj"))
    first, second = compose(atlas, "front", marks=marks).signs
    assert (first.x, first.y) != (second.x, second.y)


def test_what_was_not_examined_has_no_sign(atlas: Atlas) -> None:
    assert compose(atlas, "front").signs == ()
    assert "not examined" not in MARK_KINDS


def test_every_sign_has_a_shape_of_its_own() -> None:
    drawn = {kind: sign(Mark(kind, "right", kind, "acj"), 0, 0) for kind in MARK_KINDS}
    assert len(set(drawn.values())) == len(MARK_KINDS) == 9


def test_grade_is_told_by_number_and_own_pain_by_filling() -> None:
    tender = Mark("tender", "right", "tender", "acj")
    assert [sign(replace(tender, grade=g), 0, 0).count("M") for g in (1, 2, 3)] == [1, 2, 3]
    assert (filled(tender), filled(replace(tender, own=True))) == (False, True)


@pytest.mark.parametrize(
    ("wrong", "expected"),
    [
        ({"kind": "odd"}, "one of tender"),
        ({"side": "both"}, "one of right"),
        ({"grade": 4}, "1, 2 or 3"),
        ({"place": ""}, "a place or a point"),
    ],
)
def test_impossible_marks_are_refused(wrong: dict[str, object], expected: str) -> None:
    given = {"kind": "tender", "side": "right", "words": "tender", "place": "acj", **wrong}
    with pytest.raises(UserError, match=expected):
        Mark(**given)  # type: ignore[arg-type]


def test_unknown_views_layers_and_places_are_refused(atlas: Atlas) -> None:
    with pytest.raises(UserError, match="expected one of front"):
        compose(atlas, "above")
    with pytest.raises(UserError, match="expected one of bones"):
        compose(atlas, "front", layers=("vessels",))
    with pytest.raises(UserError, match="expected one of acj"):
        compose(atlas, "front", marks=(Mark("tender", "right", "tender", "elbow"),))


@pytest.mark.parametrize("view", CLOSE_UPS)
def test_on_a_close_up_every_place_takes_a_finger_or_has_a_label(atlas: Atlas, view: str) -> None:
    plate = compose(atlas, view)
    labelled = {(line.target.place, line.target.side) for line in leaders(plate, 640)}
    assert len(plate.targets) >= 4
    for place in plate.targets:
        # Web Content Accessibility Guidelines 2.2, 2.5.8: 24 by 24 CSS pixels.
        assert 2 * place.room * 640 / plate.frame[2] >= 24 or (place.place, place.side) in labelled


def test_close_ups_are_about_a_shoulder_wide(atlas: Atlas) -> None:
    for view in CLOSE_UPS:
        assert 230 <= compose(atlas, view).frame[2] / 2 <= 360


def test_labels_beside_the_figure_stand_a_finger_apart(atlas: Atlas) -> None:
    plate = compose(atlas, "right close-up front")
    found = leaders(plate, 640, every=True)
    assert len(found) == len(plate.targets) == 15
    for anchor in ("start", "end"):
        heights = sorted(line.to_y for line in found if line.anchor == anchor)
        assert all(
            b - a >= 24 * plate.frame[2] / 640 - 1e-6 for a, b in itertools.pairwise(heights)
        )
    left, _, width, _ = with_columns(plate)
    assert all(left < line.to_x < left + width for line in found)


def test_cramped_places_are_those_narrower_than_a_finger(atlas: Atlas) -> None:
    plate = compose(atlas, "front")
    assert cramped(plate, 10_000) == ()
    assert len(cramped(plate, 50)) == len(plate.targets)


def test_style_sheet_sets_every_colour_in_light_dark_print_and_forced_colours() -> None:
    text = STYLE.read_text(encoding="utf-8")
    parts = re.split(r"@media ", text)
    media = [part for part in parts if part.startswith(("(prefers", "print", "(forced"))]
    assert len(media) == 3
    for part in (parts[0], *media):
        for colour in (*COLOURS, "sign", "paper"):
            assert f"--fig-{colour}:" in part, (part[:30], colour)


def test_layers_can_be_told_apart_without_colour() -> None:
    """Two layers never differ by their colours alone: print and forced colours have few."""
    for one, other in itertools.combinations(("bone", "deep", "nerve", "landmark"), 2):
        a, b = (
            {k: v for k, v in PAINT[kind].items() if k not in ("fill", "stroke")}
            for kind in (one, other)
        )
        assert a != b, (one, other)
