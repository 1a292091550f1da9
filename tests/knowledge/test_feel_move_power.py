"""The items of feeling, movement, power, function and close: complete, their own, and right.

Which items there must be is the project's agreed list of a whole examination. Nerves, roots and
goniometer landmarks are checked against the sources named beside each table.
"""

from __future__ import annotations

import re
from collections import defaultdict
from functools import cache

import pytest

from sidewise.ground.provenance import Mark
from sidewise.kinds.angle import AngleLimits
from sidewise.kinds.choice import ChoiceLimits
from sidewise.kinds.result import ResultLimits
from sidewise.kinds.sign import SignLimits
from sidewise.knowledge.reading import read_yaml
from sidewise.protocol.model import Item
from tests.shoulder import FOLDER

AGREED = {
    "04_feel": (
        "sternum_tenderness chest_wall_tenderness scj_tenderness clavicle_medial_tenderness "
        "clavicle_lateral_tenderness coracoid_tenderness gh_front_tenderness "
        "gh_back_tenderness acj_tenderness "
        "acromion_tenderness subacromial_front_tenderness subacromial_lateral_tenderness "
        "groove_tenderness greater_tuberosity_tenderness lesser_tuberosity_tenderness "
        "humeral_shaft_tenderness scapular_spine_tenderness superior_angle_tenderness "
        "inferior_angle_tenderness medial_border_tenderness supraspinatus_tenderness "
        "infraspinatus_tenderness teres_minor_tenderness shoulder_tenderness trapezius_tenderness "
        "axilla_medial_wall axilla_lateral_wall axilla_front_fold axilla_nodes "
        "supraclavicular_fossa warmth crepitus coracoid_pressure rent_sign bony_crepitus "
        "expanding_swelling breast_lump abdominal_tenderness calf_swelling "
        "tense_swelling mass_depth mass_size"
    ),
    "05_move": (
        "flexion abduction painful_arc scapular_rhythm scaption external_rotation_at_side "
        "internal_rotation_behind_back extension cross_body_adduction global_passive_pain "
        "external_rotation_at_90 internal_rotation_at_90 abduction_scapula_held"
    ),
    "06_power": (
        "deltoid_front_power deltoid_middle_power deltoid_back_power abduction_power "
        "external_rotation_power external_rotation_power_at_90 internal_rotation_power "
        "serratus_power trapezius_power sternomastoid_power rhomboid_power latissimus_power "
        "pectoralis_power biceps_power brachioradialis_power supination_power triceps_power "
        "wrist_extension_power wrist_flexion_power finger_flexion_power finger_extension_power "
        "finger_spread_power thumb_extension_power grip_power arm_weakness"
    ),
    "09_function": (
        "hand_to_head hand_to_back hand_to_opposite hand_to_mouth lift_overhead work_demand"
    ),
    "10_close": "arm_supported covered told_findings questions_invited next_explained",
}
STAGES = {
    "04_feel": "feel",
    "05_move": "move",
    "06_power": "power",
    "09_function": "function",
    "10_close": "close",
}
COUNTS = {"04_feel": 42, "05_move": 13, "06_power": 25, "09_function": 6, "10_close": 5}
TOTAL = 91

# Nerve and roots of each group, from memory of standard anatomy texts; the spinal key muscles
# (C6 wrist extension, C7 elbow extension, C8 finger flexion, T1 finger abduction) follow the
# International Standards for Neurological Classification of Spinal Cord Injury, from memory.
NERVES = {
    "deltoid_front_power": ("axillary", "C5"),
    "deltoid_middle_power": ("axillary", "C5"),
    "deltoid_back_power": ("axillary", "C5"),
    "abduction_power": ("suprascapular", "C5"),
    "external_rotation_power": ("suprascapular", "C5"),
    "external_rotation_power_at_90": ("axillary", "C5"),
    "internal_rotation_power": ("subscapular", "C5"),
    "serratus_power": ("long thoracic", "C7"),
    "trapezius_power": ("accessory", "C4"),
    "sternomastoid_power": ("accessory", "C2"),
    "rhomboid_power": ("dorsal scapular", "C5"),
    "latissimus_power": ("thoracodorsal", "C7"),
    "pectoralis_power": ("pectoral", "C7"),
    "biceps_power": ("musculocutaneous", "C5"),
    "brachioradialis_power": ("radial", "C6"),
    "supination_power": ("musculocutaneous", "C6"),
    "triceps_power": ("radial", "C7"),
    "wrist_extension_power": ("radial", "C6"),
    "wrist_flexion_power": ("median", "C7"),
    "finger_flexion_power": ("median", "C8"),
    "finger_extension_power": ("posterior interosseous", "C7"),
    "finger_spread_power": ("ulnar", "T1"),
    "thumb_extension_power": ("posterior interosseous", "C8"),
    "grip_power": ("ulnar", "C8"),
}

# Axis, fixed arm, moving arm. Flexion, extension, abduction and rotation at 90 degrees: Norkin &
# White, summary guide. Rotation at the side: Vairo et al., Sports Med Arthrosc Rehabil Ther
# Technol 2012;4:33. Scaption and cross-body: from memory.
GONIOMETER = {
    "flexion": ("greater tubercle", "mid-armpit line", "lateral epicondyle"),
    "extension": ("humeral head", "mid-armpit line", "lateral epicondyle"),
    "abduction": ("front of the acromion", "midline of the breastbone", "medial epicondyle"),
    "scaption": ("back corner of the acromion", "vertical", "midline of the humerus"),
    "external_rotation_at_side": ("olecranon", "perpendicular to the floor", "ulna"),
    "external_rotation_at_90": ("olecranon", "perpendicular to the floor", "ulna"),
    "internal_rotation_at_90": ("olecranon", "perpendicular to the floor", "ulna"),
    "cross_body_adduction": ("top of the acromion", "perpendicular to the trunk", "humerus"),
    "abduction_scapula_held": ("front of the acromion", "breastbone", "humerus"),
}
LIMITS = {
    "flexion": (0, 190),
    "abduction": (0, 190),
    "scaption": (0, 190),
    "external_rotation_at_side": (-60, 120),
    "external_rotation_at_90": (-30, 160),
    "internal_rotation_at_90": (-30, 120),
    "extension": (-10, 100),
    "cross_body_adduction": (0, 160),
    "abduction_scapula_held": (0, 130),
}


@cache
def items_of(name: str) -> tuple[Item, ...]:
    entries = read_yaml(FOLDER / "protocol" / f"{name}.yaml")
    return tuple(Item.model_validate(entry) for entry in entries)


def every_item() -> tuple[Item, ...]:
    return tuple(item for name in AGREED for item in items_of(name))


def words(text: str) -> int:
    return len(text.split())


def prose(item: Item) -> tuple[str, ...]:
    """Everything a student reads of one item, field by field."""
    return (item.how, item.say, item.abnormal, item.patient, item.examiner, *item.mistakes)


@cache
def sentences(item: Item) -> tuple[str, ...]:
    parts = [part for text in prose(item) for part in re.split(r"(?<=[.!?])\s+", text)]
    return tuple(part.strip(" .!?").lower() for part in parts if words(part) > 3)


def teaching(item: Item) -> str:
    return f"{item.how} {item.abnormal}"


@pytest.mark.parametrize("name", AGREED)
def test_the_file_holds_exactly_the_agreed_items(name: str) -> None:
    agreed = AGREED[name].split()
    assert len(agreed) == COUNTS[name]
    assert [item.id for item in items_of(name)] == agreed


@pytest.mark.parametrize("name", AGREED)
def test_every_item_stands_in_the_stage_of_its_file(name: str) -> None:
    assert {item.stage for item in items_of(name)} == {STAGES[name]}


def test_the_sweep_covers_every_item() -> None:
    assert len(every_item()) == TOTAL == sum(COUNTS.values())


def test_every_structure_is_known_to_the_region() -> None:
    known = {entry["id"] for entry in read_yaml(FOLDER / "region.yaml")["structures"]}
    used = {(item.id, name) for item in every_item() for name in item.structures}
    assert len(used) >= TOTAL
    assert [pair for pair in used if pair[1] not in known] == []


def test_only_breastbone_work_and_the_closing_talk_have_no_side() -> None:
    unpaired = {item.id for item in every_item() if not item.paired}
    assert unpaired == {"sternum_tenderness", "work_demand", *AGREED["10_close"].split()}


def test_the_instruction_is_long_enough_to_do_and_short_enough_to_read() -> None:
    wrong = {item.id: words(item.how) for item in every_item() if not 40 <= words(item.how) <= 110}
    assert wrong == {}


def test_abnormal_is_told_in_twenty_to_sixty_words() -> None:
    lengths = {item.id: words(item.abnormal) for item in every_item()}
    assert {name: n for name, n in lengths.items() if not 20 <= n <= 60} == {}


def test_what_is_said_to_the_patient_can_be_said_in_one_breath() -> None:
    assert {item.id: item.say for item in every_item() if not 5 <= words(item.say) <= 24} == {}


def test_every_item_warns_of_at_least_two_mistakes() -> None:
    assert [item.id for item in every_item() if len(item.mistakes) < 2] == []


def test_no_two_items_are_done_in_the_same_words() -> None:
    texts = [item.how for item in every_item()]
    assert len(set(texts)) == len(texts) == TOTAL


def test_no_sentence_stands_in_two_items() -> None:
    homes: dict[str, set[str]] = defaultdict(set)
    for item in every_item():
        for sentence in sentences(item):
            homes[sentence].add(item.id)
    assert len(homes) > 10 * TOTAL
    assert {sentence: where for sentence, where in homes.items() if len(where) > 1} == {}


def test_every_basis_has_one_mark_and_a_source_that_agrees_with_it() -> None:
    bases = [basis for item in every_item() for basis in item.basis]
    assert len(bases) > 2 * TOTAL
    for basis in bases:
        assert basis.mark in Mark
        said = basis.source == "common practice, no source"
        assert said == (basis.mark is Mark.COMMON_PRACTICE), basis


def test_a_recalled_source_is_never_marked_as_read() -> None:
    bases = [basis for item in every_item() for basis in item.basis]
    recalled = [basis for basis in bases if "recalled" in basis.source]
    assert len(recalled) > TOTAL / 2
    assert {basis.mark for basis in recalled} == {Mark.MEMORY}


def test_what_was_read_says_what_it_is_read_for() -> None:
    read = [b for item in every_item() for b in item.basis if b.mark is Mark.READ]
    assert len(read) >= 30
    assert [basis.source for basis in read if not basis.note] == []


def test_seconds_and_soreness_are_owned_as_our_judgement() -> None:
    ours = [
        item.id
        for item in every_item()
        if any(b.mark is Mark.OUR_JUDGEMENT and "seconds" in b.note for b in item.basis)
    ]
    assert len(ours) == TOTAL


PALPATED = AGREED["04_feel"].split()
PALPATED = PALPATED[: PALPATED.index("axilla_nodes")]


@pytest.mark.parametrize("item_id", PALPATED)
def test_a_palpated_place_is_graded_for_tenderness(item_id: str) -> None:
    item = next(item for item in items_of("04_feel") if item.id == item_id)
    assert item.kind("tenderness")
    assert item.modes == ()


def test_the_words_of_the_lists_are_those_that_rules_use() -> None:
    by_id = {item.id: item for item in every_item()}
    lists = {
        "axilla_nodes": ("none felt", "small, soft, mobile", "hard, fixed or over 1 cm"),
        "supraclavicular_fossa": ("hollow", "fullness", "node or mass"),
        "warmth": ("same as around", "warm", "hot"),
        "scapular_rhythm": ("smooth", "early hitch", "jerky on lowering", "shrug before 90"),
        "hand_to_opposite": ("easily", "with difficulty", "cannot"),
    }
    for name, options in lists.items():
        kind = by_id[name].kind("choice")
        assert isinstance(kind, ChoiceLimits)
        assert kind.options == options
        assert options[0] in kind.normal


def test_crepitus_begins_with_its_normal_grade() -> None:
    crepitus = next(item for item in items_of("04_feel") if item.id == "crepitus")
    kind = crepitus.kind("sign")
    assert isinstance(kind, SignLimits)
    assert kind.grades == ("absent", "painless", "painful")


@pytest.mark.parametrize("item_id", LIMITS)
def test_a_measured_movement_takes_an_angle_within_the_agreed_limits(item_id: str) -> None:
    item = next(item for item in items_of("05_move") if item.id == item_id)
    kind = item.kind("angle")
    assert isinstance(kind, AngleLimits)
    assert (kind.low, kind.high) == LIMITS[item_id]
    assert item.kind("normal_by_eye")


@pytest.mark.parametrize("item_id", GONIOMETER)
def test_a_measured_movement_names_axis_and_both_arms(item_id: str) -> None:
    item = next(item for item in items_of("05_move") if item.id == item_id)
    axis, fixed, moving = GONIOMETER[item_id]
    found = re.search(r"[Aa]xis (.+?)[;,] .*?fixed arm (.+?); moving\s+arm (.+?)\.", item.how)
    assert found, item.how
    assert axis in found[1]
    assert fixed in found[2]
    assert moving in found[3]


def test_movements_are_active_and_passive_unless_agreed_otherwise() -> None:
    modes = {item.id: item.modes for item in items_of("05_move") if item.modes}
    assert modes.pop("abduction_scapula_held") == ("passive",)
    assert len(modes) == 9
    assert set(modes.values()) == {("active", "passive")}


def test_every_movement_says_how_it_feels_or_when_it_hurts() -> None:
    said = [item.id for item in items_of("05_move") if re.search(r"pain|hurt|firm", item.how)]
    assert len(said) >= 9


@pytest.mark.parametrize("item_id", NERVES)
def test_each_test_of_power_names_nerve_and_root_in_one_sentence(item_id: str) -> None:
    item = next(item for item in items_of("06_power") if item.id == item_id)
    nerve, root = NERVES[item_id]
    about = [part for part in item.how.split(". ") if nerve in part.lower()]
    assert re.search(rf"\b{root}\b", expanded_roots(" ".join(about))), item.how


def expanded_roots(text: str) -> str:
    """`C5 to T1` written out, so that every root in between is found."""
    ladder = [f"C{n}" for n in range(1, 9)] + ["T1", "T2"]

    def span(match: re.Match[str]) -> str:
        return " ".join(ladder[ladder.index(match[1]) : ladder.index(match[2]) + 1])

    return re.sub(r"\b([CT]\d) to ([CT]\d)\b", span, text)


def test_a_span_of_roots_is_written_out_whole() -> None:
    assert expanded_roots("pectoral, C6 to T1") == "pectoral, C6 C7 C8 T1"


def test_each_test_of_power_keeps_pain_apart_from_weakness() -> None:
    apart = [
        item.id
        for item in items_of("06_power")
        if re.search(r"\b(pain(?!less)|sore|hurt)", item.abnormal, re.IGNORECASE)
        and item.kind("mrc")
        and item.kind("force")
    ]
    # The row for a weakness that names no muscle takes no grade.
    assert [*apart, "arm_weakness"] == AGREED["06_power"].split()


# Selective tension of the contractile tissues: each direction of resistance is weak, sore or both.
# Common practice, no source.
@pytest.mark.parametrize(
    ("item_id", "aspects"),
    [
        ("abduction_power", ("pain", "weakness")),
        ("external_rotation_power", ("pain", "weakness")),
        ("internal_rotation_power", ("pain",)),
        ("biceps_power", ("pain", "weakness")),
    ],
)
def test_resistance_tells_weak_from_sore(item_id: str, aspects: tuple[str, ...]) -> None:
    item = next(item for item in items_of("06_power") if item.id == item_id)
    kind = item.kind("result")
    assert isinstance(kind, ResultLimits)
    assert kind.aspects == aspects


def test_a_grip_is_weak_or_not_and_keeps_the_grades_of_older_records() -> None:
    grip = next(item for item in items_of("06_power") if item.id == "grip_power")
    assert [kind.kind for kind in grip.kinds] == ["result", "force", "mrc"]
    assert grip.not_offered == ("mrc",)
    assert "scale does not fit a grip" in " ".join(grip.how.split())


# Active movement upright first, passive movement in one posture after it: common practice.
def test_movement_is_seen_standing_before_the_patient_lies_down() -> None:
    order = [item.id for item in items_of("05_move")]
    lying = [item.id for item in items_of("05_move") if item.group == "on the couch"]
    upright = [item for item in items_of("05_move") if item.group != "on the couch"]
    assert order[-len(lying) :] == lying
    assert len(upright) == 9
    assert [item.id for item in upright if not item.patient.startswith("Standing")] == []


def test_flag_items_of_injury_say_where_to_stop() -> None:
    by_id = {item.id: item for item in every_item()}
    stopping = ("bony_crepitus", "humeral_shaft_tenderness", "global_passive_pain", "crepitus")
    told = re.compile(r"\bstop\b|\bends\b", re.IGNORECASE)
    assert [name for name in stopping if not told.search(teaching(by_id[name]))] == []
