"""What a record says, as signs and postures of the figure."""

from __future__ import annotations

from typing import Any

import pytest

from sidewise.figure import Mark
from sidewise.note.figure_marks import MeasuredPose, found_marks, measured_poses
from sidewise.note.plates import drawn_poses, figure_section, found_plates
from sidewise.note.text import note_text
from sidewise.protocol.figure import atlas_of, figure_of
from sidewise.reason import interpret
from sidewise.record import Finding
from tests.builders import angle, found, record, unable
from tests.shoulder import SHOULDER


def marks(*findings: Finding) -> tuple[Mark, ...]:
    return found_marks(record(*findings), SHOULDER)


def tender(grade: int, side: str = "left", item: str = "coracoid_tenderness", **more: Any) -> Any:
    return found(item, side, "tenderness", grade=grade, **more)


def test_tenderness_is_a_sign_with_its_grade_side_and_words() -> None:
    (mark,) = marks(tender(2, familiar=True))
    assert (mark.kind, mark.side, mark.place, mark.grade) == ("tender", "left", "coracoid", 2)
    assert mark.own
    assert mark.words.startswith("left coracoid process: tender (2")


def test_nothing_recorded_is_no_sign_and_no_words() -> None:
    assert marks() == ()
    assert figure_section(record(), SHOULDER) == ""


def test_normal_is_a_level_line_only_where_everything_examined_was_normal() -> None:
    assert [mark.kind for mark in marks(tender(0))] == ["normal"]
    both = marks(tender(0, item="acj_tenderness"), found("acj_swelling", "left", "sign",
                                                         grade="marked"))  # fmt: skip
    assert [mark.kind for mark in both] == ["swollen"]


def test_what_could_not_be_examined_is_never_normal() -> None:
    assert marks(unable("coracoid_tenderness", "left")) == ()


def test_a_disputed_place_has_no_sign() -> None:
    """Nothing is concluded from two findings that contradict each other."""
    assert marks(tender(0), tender(3)) == ()


@pytest.mark.parametrize(
    ("item", "value", "kind"),
    [
        ("acj_redness", {"grade": "present"}, "red"),
        ("acj_step", {"grade": "slight"}, "step"),
        ("deltoid_bulk", {"grade": "marked wasting"}, "wasted"),
        ("coracoid_prominence", {"grade": "present"}, "other"),
    ],
)
def test_each_fault_has_its_sign(item: str, value: dict[str, str], kind: str) -> None:
    assert [mark.kind for mark in marks(found(item, "right", "sign", **value))] == [kind]


def test_a_line_drawn_with_the_finger_is_a_mark_of_its_view() -> None:
    (mark,) = marks(found("scars", "left", "place", what="scar", view="back",
                          drawn="-300,-1000 -280,-960", structure="acromion"))  # fmt: skip
    assert (mark.kind, mark.view, mark.at) == ("scar", "back", (-290.0, -980.0))
    assert mark.line == ((-300.0, -1000.0), (-280.0, -960.0))
    assert mark.words == "left scar: acromion"


def test_a_mark_of_the_earlier_drawing_is_said_and_shown_near_its_place() -> None:
    """Version 0.1.0 kept shares of a drawing that is gone: front (0.27, 0.45) stood beside the
    coracoid of the right half, which was drawn at (172, 188) of 640 by 420."""
    at = {"what": "scar", "view": "front", "y": 0.45}
    (right,) = marks(found("scars", "right", "place", x=0.27, **at))
    (left,) = marks(found("scars", "left", "place", x=0.73, **at))
    assert (right.place, left.place) == ("coracoid", "coracoid")
    assert left.words == (
        "left scar: front, near: coracoid process (marked on the drawing used earlier)"
    )


def test_a_mark_with_a_structure_lies_at_its_place() -> None:
    (mark,) = marks(found("mass", "right", "place", what="lump", structure="deltoid"))
    assert (mark.kind, mark.place) == ("swollen", "deltoid")


def test_a_mark_without_a_place_is_said_and_not_drawn() -> None:
    (mark,) = marks(found("mass", "right", "place", what="lump"))
    atlas = atlas_of(SHOULDER)
    assert atlas is not None
    assert mark.words == "right lump: place not stated"
    assert found_plates(record(found("mass", "right", "place", what="lump")), SHOULDER, atlas) == ()


def poses(*findings: Finding) -> dict[str, MeasuredPose]:
    return {pose.item.id: pose for pose in measured_poses(record(*findings), SHOULDER)}


FROZEN = (
    angle("abduction", "left", 60, "active"),
    angle("abduction", "left", 62),
    angle("abduction", "right", 172, "active"),
    angle("external_rotation_at_side", "left", 5),
    found("scapular_rhythm", "left", "choice", choice=["shrug before 90"]),
)


def test_a_frozen_shoulder_looks_frozen() -> None:
    """Common practice, no source: active and passive are lost alike, and the blade hitches."""
    pose = poses(*FROZEN)["abduction"]
    assert (pose.arms.left.drawn, pose.arms.left.shown) == ("abduction, hitching", 60.0)
    assert (pose.arms.right.drawn, pose.arms.right.shown) == ("abduction", 165.0)
    assert pose.ghost["left"].drawn == "abduction"
    assert pose.unmeasured == ()
    assert pose.words == (
        "right: active 172 degrees, drawn at 165; passive not examined",
        "left: active 60 degrees, hitching; passive 62 degrees, drawn at 60",
    )


def test_a_torn_cuff_shows_what_the_examiner_can_still_lift() -> None:
    """Common practice, no source: passive movement is kept where active is lost."""
    pose = poses(angle("abduction", "left", 40, "active"), angle("abduction", "left", 165))
    assert pose["abduction"].arms.left.shown == 45.0
    assert pose["abduction"].ghost["left"].shown == 165.0


def test_an_unmeasured_side_is_not_drawn_as_normal() -> None:
    pose = poses(angle("external_rotation_at_side", "left", 5))["external_rotation_at_side"]
    assert pose.unmeasured == ("right",)
    assert pose.arms.left.shown == 0.0
    assert pose.words[0] == "right: active not examined; passive not examined"


def test_what_was_judged_by_eye_is_said_and_not_drawn() -> None:
    seen = found("external_rotation_at_side", "right", "normal_by_eye", "passive")
    pose = poses(angle("external_rotation_at_side", "left", 5), seen)["external_rotation_at_side"]
    assert pose.unmeasured == ("right",)
    assert "not drawn" in pose.words[0]


def test_a_movement_without_a_number_has_no_posture() -> None:
    assert poses(found("flexion", "left", "normal_by_eye", "active")) == {}
    assert poses(unable("flexion", "left", mode="active")) == {}


def test_an_angle_beyond_the_atlas_shows_the_last_posture_and_the_number() -> None:
    pose = poses(angle("extension", "right", 80, "active"))["extension"]
    assert pose.words[0].startswith(
        "right: active 80 degrees, drawn at 60, the last posture there is"
    )
    assert pose.views == ("right side", "left side")


def test_a_disputed_angle_is_not_drawn() -> None:
    two = (angle("flexion", "left", 60), angle("flexion", "left", 150))
    assert poses(*two) == {}


def test_a_hand_behind_the_back_is_drawn_at_its_level() -> None:
    pose = poses(found("internal_rotation_behind_back", "left", "level", "active", level="L5"))
    assert pose["internal_rotation_behind_back"].arms.left.shown == "L5"
    assert pose["internal_rotation_behind_back"].views == ("back",)


def test_every_movement_the_atlas_knows_is_an_item_that_can_be_drawn() -> None:
    atlas = atlas_of(SHOULDER)
    assert atlas is not None
    measured = (angle(item, "left", 30, "active") for item, asked in atlas.items.items()
                if asked.movement != "hand behind back")  # fmt: skip
    assert len(poses(*measured)) == len(atlas.items) - 1 == 8


def test_the_note_draws_what_was_found_and_says_the_same_words() -> None:
    one = record(*FROZEN, tender(2))
    section = figure_section(one, SHOULDER)
    assert section.count('class="fig"') == 3
    for words in ("left coracoid process: tender (2", "left: active 60 degrees, hitching"):
        assert words in section
    assert "CC BY 3.0" in section
    assert 'style="' not in section


def test_a_part_drawn_twice_in_a_note_is_written_once() -> None:
    section = figure_section(record(*FROZEN, tender(2)), SHOULDER)
    ids = [part.split('"')[0] for part in section.split('<g id="')[1:]]
    assert len(ids) == len(set(ids)) > 20
    refers = [part.split('"')[0] for part in section.split('href="#')[1:]]
    assert len(refers) > 10
    assert set(refers) <= set(ids)


def test_a_note_draws_the_largest_differences() -> None:
    items = ("flexion", "abduction", "extension", "external_rotation_at_side", "scaption")
    found_angles = [
        angle(item, side, 30 + number * (side == "left"), "active")
        for number, item in enumerate(items)
        for side in ("left", "right")
    ]
    drawn = drawn_poses(record(*found_angles), SHOULDER)
    assert len(drawn) == 4
    assert "flexion" not in {pose.item.id for pose in drawn}


def test_the_text_of_the_note_keeps_its_lists_and_has_no_picture() -> None:
    one = record(tender(2))
    text = note_text(one, interpret(one, SHOULDER), SHOULDER)
    assert "coracoid process" in text
    assert "<svg" not in text


def test_every_place_speaks_of_items_of_both_sides_or_of_the_midline() -> None:
    data = figure_of(SHOULDER)
    assert len({item for place in data.places for item in place.items}) == 55
