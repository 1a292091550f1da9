"""The first three stages, the history and the variants: complete, distinct, and marked.

What an examination must contain is common practice, no source; the figures quoted stand with their
sources in the files themselves. Lengths are what fits a card held at the bedside (our judgement).
"""

from __future__ import annotations

import re
from collections import Counter
from functools import cache
from typing import Any

import pytest
from pydantic import TypeAdapter

from sidewise.ground.provenance import Mark, Provenance
from sidewise.protocol.criteria import Criterion
from sidewise.protocol.model import HistoryItem, Item, VitalSign
from tests.shoulder import FOLDER, read_yaml


def names(text: str) -> tuple[str, ...]:
    return tuple(text.split())


COUNTS = {"01_prepare": 11, "02_look": 49, "03_neck": 14}
BULK = ("full", "slightly thin", "marked wasting")
SWELLING = ("absent", "slight", "marked")

# The order in which the landmarks are named, from the breastbone round to the blade.
LANDMARKS = (
    "sternum_look", "scj_swelling", "clavicle_shape", "acj_swelling", "gh_swelling",
    "acromion_look", "humerus_look", "scapular_spine_look", "scapulothoracic_look",
)  # fmt: skip

EXPECTED = names("""
hands_cleaned identity_checked consent_given chaperone_offered both_exposed standing_room
pain_pointed sternum_look scj_swelling scj_redness clavicle_shape acj_swelling acj_redness
acj_step gh_swelling gh_redness acromion_look humerus_look deltoid_contour scapular_spine_look
scapulothoracic_look scars bruising rash skin_threatened veins arm_swollen mass deltoid_bulk
supraspinatus_bulk infraspinatus_bulk teres_minor_bulk trapezius_bulk pectoral_bulk
hand_muscle_bulk biceps_belly shoulder_height scapula_rest winging_rest winging_lateral wall_push
resisted_flexion_winging arm_attitude neck_flexion neck_extension neck_rotation neck_side_bend
neck_movement_pain spurling neck_distraction abduction_relief arm_squeeze neck_tornado valsalva
paraspinal_tenderness neck_midline_tenderness posture deformity neck_painful_direction
""")

ASKED = names("""
immunosuppression injecting_drugs recent_injection recent_infection anticoagulant seizure
electric_shock exertion breathlessness abdominal_pain pregnancy_possible headache jaw vision
morning_stiffness hands_swollen clumsy_hands gait_change bladder smoking cancer weight_loss fever
chills night_sweats unwell liver_cirrhosis diabetes prosthesis recent_surgery wound_leak injury fall
direct_blow forced_external_rotation dislocation_reduced cannot_lift cannot_touch_other_shoulder
sudden_severe_pain weakness_after_pain neck_surgery steroids_long_term alcohol sickle_cell diving
osteoporosis limb_claudication scalp_tenderness both_shoulders_stiff hip_girdle_stiffness
line_in_place hoarseness swallowing venous_congestion story_mismatch multiple_bruises delay
dependent_person treatment_failed over_6_months abnormal_film sudden_swelling bleeding_disorder
""")

CORE = {
    "fever", "weight_loss", "cancer", "injury", "night_pain", "rest_pain", "numbness",
    "exertion", "breathlessness", "immunosuppression",
}  # fmt: skip

GROUPS = {
    "illnesses and medicines",
    "general health", "infection risk", "injury", "cancer", "heart and chest", "abdomen",
    "head and eyes", "girdle stiffness", "nerves and cord", "vessels", "past treatment",
    "sport and work", "safeguarding",
}  # fmt: skip

# Never excused as a variant, whatever the sides look like.
NEVER_MILD = {"angle", "level", "force", "mrc", "arc", "vital", "normal_by_eye"}


@cache
def stage_items(name: str) -> tuple[Item, ...]:
    return tuple(
        Item.model_validate(raw) for raw in read_yaml(FOLDER / "protocol" / f"{name}.yaml")
    )


@cache
def every_item() -> tuple[Item, ...]:
    return tuple(item for name in COUNTS for item in stage_items(name))


@cache
def whole_protocol() -> dict[str, Item]:
    files = sorted((FOLDER / "protocol").glob("*.yaml"))
    return {item.id: item for path in files for item in stage_items(path.stem)}


@cache
def questions() -> tuple[HistoryItem, ...]:
    raw = read_yaml(FOLDER / "history.yaml")["questions"]
    return tuple(HistoryItem.model_validate(entry) for entry in raw)


@cache
def variants() -> tuple[dict[str, Any], ...]:
    return tuple(read_yaml(FOLDER / "variants.yaml"))


def applied() -> list[dict[str, Any]]:
    return [variant for variant in variants() if variant["applies"]]


def by_id() -> dict[str, Item]:
    return {item.id: item for item in every_item()}


def words(text: str) -> int:
    return len(text.split())


def sentences(item: Item) -> set[str]:
    text = [item.how, item.abnormal, item.say, *item.mistakes]
    found = (re.split(r"(?<=[.?!])\s+", part) for part in text)
    return {re.sub(r"\W+", " ", s).strip().lower() for part in found for s in part} - {""}


# --- the first three stages ---


@pytest.mark.parametrize(("name", "count"), COUNTS.items())
def test_every_item_of_the_stage_loads(name: str, count: int) -> None:
    assert len(stage_items(name)) == count


def test_each_file_holds_one_stage() -> None:
    assert [{item.stage for item in stage_items(name)} for name in COUNTS] == [
        {"prepare"}, {"look"}, {"neck"},
    ]  # fmt: skip


def test_ids_are_there_once_and_none_is_missing() -> None:
    ids = [item.id for item in every_item()]
    assert len(ids) == len(set(ids)) == sum(COUNTS.values())
    assert len(EXPECTED) == 59
    assert not set(EXPECTED) - set(ids)


def test_landmarks_are_looked_at_from_the_breastbone_round_to_the_blade() -> None:
    order = [item.id for item in stage_items("02_look") if item.id in LANDMARKS]
    assert tuple(order) == LANDMARKS


def test_midline_of_the_neck_is_felt_before_the_neck_is_moved() -> None:
    assert stage_items("03_neck")[0].id == "neck_midline_tenderness"


def test_structures_are_known_to_the_region() -> None:
    known = {entry["id"] for entry in read_yaml(FOLDER / "region.yaml")["structures"]}
    used = {name for item in every_item() for name in item.structures}
    assert len(used) >= 30
    assert not used - known
    assert all(item.structures for item in every_item())


def test_no_two_items_are_done_in_the_same_words() -> None:
    for field in ("how", "abnormal", "say", "examiner"):
        texts = [getattr(item, field) for item in every_item()]
        assert len(texts) == 74
        assert len(set(texts)) == len(texts), field


def test_no_sentence_stands_in_two_items() -> None:
    seen = Counter(sentence for item in every_item() for sentence in sentences(item))
    assert len(seen) > 500
    assert [sentence for sentence, times in seen.items() if times > 1] == []


@pytest.mark.parametrize(
    ("field", "least", "most"), [("how", 40, 110), ("abnormal", 20, 60), ("say", 4, 25)]
)
def test_texts_are_long_enough_to_act_on_and_short_enough_to_read(
    field: str, least: int, most: int
) -> None:
    lengths = {item.id: words(getattr(item, field)) for item in every_item()}
    assert len(lengths) == 74
    assert {name: n for name, n in lengths.items() if not least <= n <= most} == {}


def test_each_item_warns_of_two_mistakes() -> None:
    counts = {item.id: len(item.mistakes) for item in every_item()}
    assert len(counts) == 74
    assert {name: n for name, n in counts.items() if n < 2} == {}


def test_each_item_says_that_its_time_is_a_planning_figure() -> None:
    for item in every_item():
        notes = [b.note for b in item.basis if b.mark is Mark.OUR_JUDGEMENT]
        assert "seconds and soreness" in notes, item.id


def test_nothing_before_the_neck_provokes_pain_on_purpose() -> None:
    early = [*stage_items("01_prepare"), *stage_items("02_look")]
    assert len(early) == 60
    assert max(item.soreness for item in early) == 1


def test_signs_that_screen_a_flag_are_marked_so() -> None:
    flags = {item.id for item in every_item() if item.role == "flag"}
    assert flags >= {
        "scj_swelling", "scj_redness", "gh_swelling", "gh_redness", "deltoid_contour", "bruising",
        "rash", "skin_threatened", "veins", "arm_swollen", "mass", "hand_muscle_bulk",
        "arm_attitude",
    }  # fmt: skip
    # Bone of the neck is felt where something calls for it: an injury, pain, fever, a tumour.
    assert by_id()["neck_midline_tenderness"].needed_when


def test_bulk_and_swelling_are_graded_alike_everywhere() -> None:
    bulk = [item for item in every_item() if item.id.endswith("_bulk")]
    swelling = [item for item in every_item() if item.id.endswith("_swelling")]
    assert (len(bulk), len(swelling)) == (7, 5)
    assert {item.kind("sign").grades for item in bulk} == {BULK}  # type: ignore[union-attr]
    assert {item.kind("sign").grades for item in swelling} == {SWELLING}  # type: ignore[union-attr]


# One row per choice that a rule or reading names by its words.
@pytest.mark.parametrize(
    ("item", "options"),
    [
        ("deltoid_contour", "rounded;squared off;flat in front;full behind"),
        ("rash", "none;blisters in a band;other rash"),
        ("clavicle_shape", "even;old lump;step;tented skin"),
        ("biceps_belly", "even;lowered;raised"),
        ("shoulder_height", "level;lower;higher"),
        ("neck_movement_pain", "none;neck only;to the shoulder;below the elbow"),
        (
            "arm_attitude",
            "hangs freely;held to the side, turned in;held slightly out, turned out;"
            "held overhead;supported by the other hand",
        ),
    ],
)
def test_choices_keep_the_words_that_rules_name(item: str, options: str) -> None:
    kind = by_id()[item].kind("choice")
    assert kind is not None
    assert kind.options == tuple(options.split(";"))  # type: ignore[union-attr]
    assert kind.normal  # type: ignore[union-attr]


def test_places_are_marked_where_a_place_matters() -> None:
    placed = {item.id for item in every_item() if item.kind("place")}
    assert placed >= {"pain_pointed", "scars", "bruising", "mass"}


# --- history and vital signs ---


def test_every_question_loads_and_stands_once() -> None:
    ids = [entry.id for entry in questions()]
    assert len(ids) == len(set(ids)) == 181


def test_every_expected_question_is_asked() -> None:
    assert len(ASKED) == 63
    assert not set(ASKED) - {entry.id for entry in questions()}


def test_ten_core_questions_count_as_not_asked_when_missing() -> None:
    assert {entry.id for entry in questions() if entry.core} == CORE


def test_questions_fall_into_the_named_groups_and_stay_together() -> None:
    order = [entry.group for entry in questions()]
    runs = [group for i, group in enumerate(order) if i == 0 or order[i - 1] != group]
    assert set(runs) == GROUPS
    assert len(runs) == len(GROUPS)


def test_each_question_is_one_short_sentence_of_its_own() -> None:
    says = [entry.say for entry in questions()]
    assert len(set(says)) == 181
    assert {say for say in says if say.count("?") != 1 or words(say) > 18} == set()


def test_questions_use_no_trade_words() -> None:
    trade = re.compile(r"\b(rigor|dyspn|malign|immunosupp|anticoag|prosthe|paresth|syncope|"
                       r"claudic|arthropl|nocturnal|metasta|pyrexi)", re.I)  # fmt: skip
    swept = [entry.say for entry in questions()]
    assert len(swept) == 181
    assert [say for say in swept if trade.search(say)] == []


def test_each_question_says_why_it_is_asked() -> None:
    whys = [entry.why for entry in questions()]
    assert len(set(whys)) == 181
    assert min(map(words, whys)) >= 6
    assert max(map(words, whys)) <= 30


def test_vital_signs_load_with_limits_of_the_possible() -> None:
    raw = read_yaml(FOLDER / "history.yaml")["vitals"]
    vitals = {vital.id: vital for vital in map(VitalSign.model_validate, raw)}
    assert set(vitals) == {
        "temperature", "heart_rate", "respiratory_rate", "systolic_pressure",
        "diastolic_pressure", "oxygen_saturation",
    }  # fmt: skip
    assert all(vital.low < vital.high for vital in vitals.values())
    assert (vitals["temperature"].low, vitals["temperature"].high) == (30, 45)


# --- normal variants ---


def test_every_variant_stands_once_and_says_what_it_needs() -> None:
    ids = [variant["id"] for variant in variants()]
    assert len(ids) == len(set(ids)) == 52
    assert {variant["needs"] for variant in variants()} == {"equal", "dominant_side", "none"}


def test_applied_variants_name_items_a_criterion_and_the_most_that_is_mild() -> None:
    criterion: TypeAdapter[Any] = TypeAdapter(Criterion)
    assert len(applied()) == 24
    for variant in applied():
        criterion.validate_python(variant["kinds_of_finding"])
        assert variant["items"], variant["id"]
        assert set(variant["mildest"]) == {"at_most"}, variant["id"]


def test_variants_that_never_apply_say_why() -> None:
    listed = [variant for variant in variants() if not variant["applies"]]
    assert len(listed) == 28
    assert all(words(variant["why_not"]) >= 5 for variant in listed)


def test_side_dominance_says_which_side_carries_the_finding() -> None:
    sided = [variant for variant in applied() if variant["needs"] == "dominant_side"]
    assert len(sided) == 3
    assert {variant["found_on"] for variant in sided} == {"dominant", "other"}


def test_variants_name_items_and_questions_that_exist() -> None:
    asked = {entry.id for entry in questions()}
    named = {item for v in variants() for item in (*v["items"], *v.get("clean", ()))}
    answers = {q for v in variants() for q in (*v.get("only_if", ()), *v.get("unless", ()))}
    assert len(named) >= 60
    assert sorted(named - set(whole_protocol())) == []
    assert sorted(answers - asked) == []


def test_no_applied_variant_excuses_a_flag_a_range_strength_or_swelling() -> None:
    swept = [whole_protocol()[item] for variant in applied() for item in variant["items"]]
    assert len(swept) == 47
    assert [item.id for item in swept if item.role == "flag"] == []
    assert [item.id for item in swept if "swelling" in item.id] == []
    assert {v["kinds_of_finding"]["test"] for v in applied()} == {
        "tenderness", "one_of", "sign", "result", "length", "seconds",
    }  # fmt: skip
    taken = {kind.kind for item in swept for kind in item.kinds}
    assert not taken & NEVER_MILD


def test_words_of_a_variant_are_words_of_its_item() -> None:
    swept = 0
    for variant in applied():
        criterion = variant["kinds_of_finding"]
        named = {*criterion.get("values", ()), *criterion.get("where", ())}
        if criterion["test"] == "sign":
            named.add(criterion["at_least"])
        for item in variant["items"]:
            assert not named - item_words(whole_protocol()[item]), (variant["id"], item)
            swept += 1
    assert swept == 47


def item_words(item: Item) -> set[str]:
    lists = ("grades", "options", "places", "aspects")
    found = {word for kind in item.kinds for name in lists for word in getattr(kind, name, ())}
    return found | ({"reduced", "brisk"} if item.kind("reflex") else set())


# --- where it all comes from ---


def test_every_basis_has_one_mark_and_a_source() -> None:
    raw = [
        *(basis for name in COUNTS for item in read_yaml(FOLDER / "protocol" / f"{name}.yaml")
          for basis in item["basis"]),
        *(basis for part in read_yaml(FOLDER / "history.yaml").values() for entry in part
          for basis in entry["basis"]),
        *(basis for variant in variants() for basis in variant["basis"]),
    ]  # fmt: skip
    checked = [TypeAdapter(Provenance).validate_python(basis) for basis in raw]
    assert len(checked) > 350
    assert {basis.mark for basis in checked} <= set(Mark)
    assert [b.source for b in checked if b.mark is Mark.MEMORY and "read" in b.note] == []


def test_a_recalled_source_never_calls_itself_read() -> None:
    bases = [basis for item in (*every_item(), *questions()) for basis in item.basis]
    recalled = [basis for basis in bases if "recalled" in basis.source]
    assert len(recalled) >= 10
    assert {basis.mark for basis in recalled} == {Mark.MEMORY}
