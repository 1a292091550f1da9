"""Special tests, nerves and vessels: complete, filled in, in their own words, and every
manoeuvre of the accuracy tables leads to one of the protocol's items or says why not.

Which items there must be is the project's agreed list of a whole examination. Points, angles and
criteria are checked against the sources named beside each table.
"""

from __future__ import annotations

import csv
import re
from collections import Counter, defaultdict
from functools import cache

import pytest
from pydantic import ValidationError

from sidewise.ground.provenance import Mark
from sidewise.kinds.angle import AngleLimits
from sidewise.kinds.choice import ChoiceLimits
from sidewise.kinds.count import CountLimits
from sidewise.kinds.result import ResultLimits
from sidewise.kinds.seconds import SecondsLimits
from sidewise.kinds.sign import SignLimits
from sidewise.knowledge.reading import read_yaml
from sidewise.protocol.model import Item
from tests.shoulder import FOLDER, PROTOCOL

COUNTS = {"07_special_tests": 72, "08_nerves_and_vessels": 45}
TOTAL = sum(COUNTS.values())
STAGES = {
    "07_special_tests": "special tests",
    "08_nerves_and_vessels": "nerves and vessels",
}
AGREED = {
    "07_special_tests": (
        "neer hawkins_kennedy empty_can full_can drop_arm external_rotation_lag drop_sign "
        "dropping_sign hornblower lateral_jobe whipple lift_off internal_rotation_lag belly_press "
        "napoleon belly_off bear_hug hug_up cross_body ac_resisted_extension active_compression "
        "paxinos speed yergason upper_cut biceps_resisted_flexion biceps_load_1 biceps_load_2 "
        "crank anterior_slide compression_rotation dynamic_labral_shear modified_labral_shear "
        "passive_distraction labral_tension resisted_supination_external_rotation "
        "pronation_provocation apprehension relocation surprise fulcrum bony_apprehension "
        "anterior_drawer load_and_shift load_and_shift_posterior posterior_drawer "
        "posterior_apprehension jerk kim sulcus hyperabduction shrug_sign scapular_assistance "
        "scapular_retraction scapular_flip active_elevation_lag triangle_sign "
        "sudden_external_rotation_stretch deltoid_extension_lag internal_rotation_resistance "
        "olecranon_percussion tuning_fork beighton head_shift yocum coracoid_impingement "
        "posterior_impingement injection_response hornblower_posture ludington distal_biceps_hook "
        "supine_flexion_resistance"
    ),
    "08_nerves_and_vessels": (
        "dermatome_c4 dermatome_c5 dermatome_c6 dermatome_c7 dermatome_c8 dermatome_t1 "
        "dermatome_t2 axillary_patch deltoid_contraction lateral_forearm_sensation "
        "radial_hand_sensation median_hand_sensation ulnar_hand_sensation biceps_reflex "
        "brachioradialis_reflex triceps_reflex upper_limb_tension_median "
        "upper_limb_tension_median_2 upper_limb_tension_radial upper_limb_tension_ulnar hoffmann "
        "inverted_supinator plantar gait clonus leg_reflexes finger_dexterity horner radial_pulse "
        "brachial_pulse arm_blood_pressure capillary_refill hand_colour temporal_artery adson roos "
        "costoclavicular halstead wright supraclavicular_pressure supraclavicular_tinel "
        "muscle_tone girdle_elevation_release stretch_pain numb_or_tingling_where"
    ),
}
GROUPS = (
    "impingement and arc", "cuff weakness and lag", "subscapularis", "acromioclavicular joint",
    "biceps", "superior labrum", "anterior instability", "posterior instability", "laxity",
    "stiffness and capsule", "scapula", "bone",
)  # fmt: skip

# Key sensory points of the International Standards for Neurological Classification of Spinal
# Cord Injury, as listed in the June 2008 sheet (read).
KEY_POINTS = {
    "dermatome_c4": "over the acromioclavicular joint",
    "dermatome_c5": "outer side of the elbow crease, just above it",
    "dermatome_c6": "back of the first segment of the thumb",
    "dermatome_c7": "back of the proximal segment of the middle finger",
    "dermatome_c8": "back of the proximal segment of the little finger",
    "dermatome_t1": "inner side of the elbow crease just above the medial epicondyle",
    "dermatome_t2": "top of the armpit",
}

# What counts, as the abstracts state it (read): Farber 2006 (apprehension, not pain), Gagey 2001
# (105 degrees), Kibler 2009 (90 to 120), Barth 2006 (a fifth; 30 to 90), Plewa 1998 (62, 36, 21 %
# of healthy people), Zaslav 2001 (inward weaker than outward), Levy 2009 (not serratus), Meister
# 2004 (90 to 110), the hook test in 202 tears (PMC7400716), Orthop Rev 2023 (26 %). From
# memory: O'Brien 1998 (eases palm up), Hertel 1996 (5 degrees).
CRITERIA = {
    "apprehension": ("Pain alone is not positive",),
    "hyperabduction": ("105",),
    "modified_labral_shear": ("between 120 and 90",),
    "bear_hug": ("a fifth less",),
    "napoleon": ("30 to 90",),
    "roos": ("62%", "36%", "21%"),
    "adson": ("fades with no symptoms", "not positive"),
    "internal_rotation_resistance": ("Inward push weaker than outward",),
    "active_elevation_lag": ("Serratus palsy alone did not",),
    "active_compression": ("eases palm-up",),
    "external_rotation_lag": ("5 degrees",),
    "axillary_patch": ("Normal skin does not clear it",),
    "radial_pulse": ("does not exclude",),
    "posterior_impingement": ("between 90 and 110 degrees", "deep at the back"),
    "distal_biceps_hook": ("From the outer side", "83 in 100", "30 in 100"),
    "drop_arm": ("palm turned up",),
    "inverted_supinator": ("one in four",),
}

# Common practice, no source: these must say when they are not to be done, or not to be trusted.
CAUTIONS = {
    "neer": "fracture", "drop_arm": "fracture", "cross_body": "fracture", "paxinos": "fracture",
    "apprehension": "fresh dislocation", "surprise": "dislocation", "fulcrum": "imaging",
    "anterior_drawer": "fracture", "biceps_load_1": "dislocation", "hyperabduction": "dislocation",
    "posterior_apprehension": "locked posterior dislocation", "jerk": "locked",
    "sudden_external_rotation_stretch": "infection", "olecranon_percussion": "film",
    "tuning_fork": "imaging", "radial_pulse": "cold", "brachial_pulse": "absent",
    "hoffmann": "injury", "halstead": "dislocated", "adson": "neck", "temporal_artery": "biopsy",
    "deltoid_contraction": "broken",
}  # fmt: skip


@cache
def items_of(name: str) -> tuple[Item, ...]:
    return tuple(Item.model_validate(d) for d in read_yaml(FOLDER / "protocol" / f"{name}.yaml"))


@cache
def items() -> dict[str, Item]:
    return {item.id: item for name in COUNTS for item in items_of(name)}


@cache
def manoeuvres() -> tuple[dict[str, str], ...]:
    with (FOLDER / "manoeuvres.csv").open(encoding="utf-8", newline="") as file:
        return tuple(csv.DictReader(file))


def words(text: str) -> int:
    return len(text.split())


def sentences(item: Item) -> list[str]:
    text = [item.how, item.abnormal, item.say, *item.mistakes]
    parts = [part for entry in text for part in re.split(r"(?<=[.?!])\s+", entry)]
    return [part.strip().lower() for part in parts if words(part) >= 4]


def flat(text: str) -> str:
    return " ".join(text.split())


@pytest.mark.parametrize("name", COUNTS)
def test_every_item_loads_in_the_number_written(name: str) -> None:
    assert len(items_of(name)) == COUNTS[name]


@pytest.mark.parametrize("name", COUNTS)
def test_every_agreed_item_is_there(name: str) -> None:
    assert {item.id for item in items_of(name)} == set(AGREED[name].split())


@pytest.mark.parametrize("name", COUNTS)
def test_items_stand_in_the_stage_of_their_file(name: str) -> None:
    assert {item.stage for item in items_of(name)} == {STAGES[name]}


def test_an_item_without_its_how_is_refused() -> None:
    data = items()["neer"].model_dump()
    with pytest.raises(ValidationError, match="how"):
        Item.model_validate({key: value for key, value in data.items() if key != "how"})


def test_special_tests_come_in_the_order_they_are_taught() -> None:
    seen = [item.group for item in items_of("07_special_tests")]
    assert tuple(dict.fromkeys(seen)) == GROUPS
    assert seen == sorted(seen, key=GROUPS.index)


def test_no_two_items_are_done_the_same_way() -> None:
    counted = Counter(flat(item.how).lower() for item in items().values())
    assert len(counted) == TOTAL


def test_how_and_abnormal_keep_to_their_lengths() -> None:
    outside = [
        item.id
        for item in items().values()
        if not (40 <= words(item.how) <= 110 and 20 <= words(item.abnormal) <= 60)
    ]
    assert (len(items()), outside) == (TOTAL, [])


def test_every_item_names_at_least_two_mistakes() -> None:
    assert {name for name, item in items().items() if len(item.mistakes) < 2} == set()


def test_no_sentence_stands_in_two_items_of_the_whole_protocol() -> None:
    where: dict[str, set[str]] = defaultdict(set)
    for item in PROTOCOL.items:
        for sentence in sentences(item):
            where[sentence].add(item.id)
    twice = {text: ids for text, ids in where.items() if len(ids) > 1 and ids & set(items())}
    assert sum(bool(ids & set(items())) for ids in where.values()) > 8 * TOTAL
    assert twice == {}


def test_nobody_is_placed_in_two_items_in_the_same_words() -> None:
    places = Counter(text for item in items().values() for text in (item.patient, item.examiner))
    assert [text for text, count in places.items() if count > 1] == []


def test_every_basis_has_one_mark_and_planning_figures_are_our_judgement() -> None:
    marks = Counter(basis.mark for item in items().values() for basis in item.basis)
    assert set(marks) == {Mark.READ, Mark.MEMORY, Mark.COMMON_PRACTICE, Mark.OUR_JUDGEMENT}
    planned = [any(b.source.startswith("planning") for b in i.basis) for i in items().values()]
    assert planned == [True] * TOTAL


def test_every_item_says_where_its_technique_comes_from() -> None:
    only_planned = [
        item.id
        for item in items().values()
        if all(basis.source.startswith("planning") for basis in item.basis)
    ]
    assert only_planned == []


def test_common_practice_never_carries_the_name_of_a_source() -> None:
    swept = [b for i in items().values() for b in i.basis if b.mark is Mark.COMMON_PRACTICE]
    assert len(swept) > 20
    assert {basis.source for basis in swept} == {"common practice, no source"}


def test_structures_are_those_of_the_region() -> None:
    known = {entry["id"] for entry in read_yaml(FOLDER / "region.yaml")["structures"]}
    used = {name for item in items().values() for name in item.structures}
    assert len(used) >= 25
    assert used <= known
    assert all(item.structures for item in items().values())


def test_only_gait_and_the_laxity_count_have_no_side() -> None:
    assert {name for name, item in items().items() if not item.paired} == {"gait", "beighton"}


@pytest.mark.parametrize(("name", "point"), KEY_POINTS.items())
def test_roots_are_touched_at_the_international_points(name: str, point: str) -> None:
    assert point in flat(items()[name].how)


@pytest.mark.parametrize(("name", "phrases"), CRITERIA.items())
def test_what_counts_is_what_was_published(name: str, phrases: tuple[str, ...]) -> None:
    text = flat(items()[name].abnormal + " " + items()[name].how)
    assert [phrase for phrase in phrases if phrase not in text] == []


@pytest.mark.parametrize(("name", "word"), CAUTIONS.items())
def test_risky_manoeuvres_say_when_to_leave_them(name: str, word: str) -> None:
    assert word in " ".join(items()[name].mistakes)


# Beighton, Ann Rheum Dis 1973 (nine points) and Roos, Ann Surg 1966 (three minutes): from memory.
def test_counted_and_timed_items_have_the_published_ends() -> None:
    assert items()["beighton"].kind("count") == CountLimits(kind="count", high=9)
    assert items()["roos"].kind("seconds") == SecondsLimits(kind="seconds", high=180)


def test_hyperabduction_can_be_read_beyond_the_published_threshold() -> None:
    angle = items()["hyperabduction"].kind("angle")
    assert isinstance(angle, AngleLimits)
    assert angle.low < 105 < angle.high


def test_pain_and_weakness_are_separate_answers_of_the_cuff_manoeuvres() -> None:
    names = ("empty_can", "full_can", "lateral_jobe", "whipple", "lift_off", "belly_press")
    kinds = [items()[name].kind("result") for name in names]
    assert all(
        isinstance(kind, ResultLimits) and {"pain", "weakness"} <= set(kind.aspects)
        for kind in kinds
    )


def test_outlet_manoeuvres_keep_the_pulse_apart_from_the_symptoms() -> None:
    names = ("adson", "roos", "costoclavicular", "halstead", "wright", "supraclavicular_pressure")
    for name in names:
        kind = items()[name].kind("result")
        assert isinstance(kind, ResultLimits)
        assert (kind.aspects, kind.places[0]) == (("pain", "tingling"), "pulse fades")


def test_choices_and_grades_use_the_agreed_words() -> None:
    contraction, horner = items()["deltoid_contraction"], items()["horner"]
    choice, grades = contraction.kind("choice"), horner.kind("sign")
    assert isinstance(choice, ChoiceLimits)
    assert choice.options == ("all three", "weak", "none", "limited by pain")
    assert isinstance(grades, SignLimits)
    assert grades.grades == ("absent", "slight pupil difference only", "present")


def test_no_answer_of_the_plantar_is_not_called_normal() -> None:
    kind = items()["plantar"].kind("choice")
    assert isinstance(kind, ChoiceLimits)
    assert kind.normal == ("down",)


def test_manoeuvres_are_listed_once_and_either_resolve_or_say_why_not() -> None:
    rows = manoeuvres()
    assert (len(rows), len({row["manoeuvre"] for row in rows})) == (183, 183)
    assert [row for row in rows if bool(row["item"]) == bool(row["why_not"])] == []
    assert sum(bool(row["item"]) for row in rows) == 111


def test_every_listed_manoeuvre_leads_to_an_item_of_the_protocol() -> None:
    known = PROTOCOL.by_id
    assert [row for row in manoeuvres() if row["item"] and row["item"] not in known] == []


def test_every_manoeuvre_of_the_accuracy_table_is_listed() -> None:
    with (FOLDER / "accuracy.csv").open(encoding="utf-8", newline="") as file:
        studied = {row["manoeuvre"] for row in csv.DictReader(file)}
    assert len(studied) > 150
    assert studied - {row["manoeuvre"] for row in manoeuvres()} == set()
