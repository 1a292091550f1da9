"""A finding weighs by its grade: monotonically, never below its threshold as if it were normal.

What a clinician expects, common practice, no source: a slight sign is weaker than a marked one and
stronger than none; power 2 says more than power 4+; 70 degrees lost say more than 25; a test
entered only as positive counts. Figures of the grading are our judgement and stand in its file.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from sidewise import network
from sidewise.errors import UserErrors
from sidewise.network import observed, solve
from sidewise.reason import interpret
from sidewise.reason.batch.posteriors import weigh_records
from sidewise.reason.judging.flags import Meaningless
from sidewise.reason.judging.grading import grading_of
from sidewise.reason.judging.judge import Judge, State
from sidewise.reason.judging.observations import Observed, observe
from sidewise.reason.judging.variants import Variants
from sidewise.reason.weighing.layout import network_layout
from sidewise.record import Finding, Record
from tests.builders import angle, found, positive, record
from tests.shoulder import FOLDER, PROTOCOL, REGIONS, SHOULDER, read_yaml, with_parts

WASTING = ("full", "slightly thin", "marked wasting")
GRADES = ("0", "1", "2", "3", "4-", "4", "4+", "5")


def probability(rec: Record, condition: str, level: int | None = None) -> float:
    """By the mean parameters: no noise of draws, so that an order is an order."""
    (weighed,) = weigh_records([rec], REGIONS)
    structure = network_layout(SHOULDER, rec.context.complaint).structure
    posterior = weighed.posterior
    assert posterior is not None
    row = posterior[structure.variable_index[f"{condition}.left"]]
    return float(row[level] if level is not None else 1 - row[0])


def sign(item: str, grade: str) -> tuple[Finding, ...]:
    return (found(item, "left", "sign", grade=grade),)


def lost(degrees: float) -> tuple[Finding, ...]:
    return (
        angle("external_rotation_at_side", "left", 80 - degrees, instrument="goniometer"),
        angle("external_rotation_at_side", "right", 80, instrument="goniometer"),
    )


def levels(level: str) -> tuple[Finding, ...]:
    item = "internal_rotation_behind_back"
    return (
        found(item, "left", "level", "passive", level=level),
        found(item, "right", "level", "passive", level="T8"),
    )


def lag(degrees: float) -> tuple[Finding, ...]:
    return (positive("external_rotation_lag", "left", lag=True, lag_degrees=degrees),)


SERIES: dict[str, tuple[str, int | None, Sequence[tuple[Finding, ...]]]] = {
    "wasting": ("suprascapular_nerve", None,
                [sign("infraspinatus_bulk", g) for g in WASTING]),
    "wing at rest": ("long_thoracic_nerve", None,
                     [sign("winging_rest", g) for g in ("absent", "slight", "marked")]),
    "wing on the wall": ("long_thoracic_nerve", None,
                         [sign("wall_push", g) for g in ("absent", "slight", "marked")]),
    "wing against resistance": ("long_thoracic_nerve", None,
                                [sign("resisted_flexion_winging", g)
                                 for g in ("absent", "slight", "marked")]),
    "trapezius": ("accessory_nerve", None,
                  [sign("trapezius_bulk", g) for g in WASTING]),
    "power outwards": ("cuff", 3, [(found("external_rotation_power", "left", "mrc", grade=g),)
                                   for g in reversed(GRADES)]),
    "rotation lost": ("frozen", None, [lost(d) for d in (0, 5, 10, 15, 20, 25, 30, 45, 60, 75)]),
    "levels lost": ("frozen", None,
                    [levels(v) for v in ("T8", "T9", "T10", "T11", "T12", "L1", "L3", "L5")]),
    "tenderness on top": ("acj", None, [(found("acj_tenderness", "left", "tenderness", grade=g),)
                                        for g in (0, 1, 2, 3)]),
    "lag": ("cuff", 3, [lag(d) for d in (5, 10, 20, 40)]),
}  # fmt: skip


@pytest.mark.parametrize("name", SERIES)
def test_more_never_weighs_less(name: str) -> None:
    condition, level, steps = SERIES[name]
    told = [probability(record(*step), condition, level) for step in steps]
    assert told == sorted(told)
    assert told[-1] > told[0]


def test_ten_series_of_grades_are_swept() -> None:
    assert len(SERIES) == 10


@pytest.mark.parametrize("name", ["wasting", "wing against resistance", "trapezius"])
def test_less_than_is_asked_for_is_no_absence(name: str) -> None:
    condition, _, (normal, slight, _) = SERIES[name]
    nothing = probability(record(), condition)
    assert probability(record(*normal), condition) < nothing
    assert probability(record(*slight), condition) >= nothing


def seen(*findings: Finding) -> Observed:
    rec = record(*findings)
    layout = network_layout(SHOULDER, rec.context.complaint)
    judge = Judge(PROTOCOL, rec)
    return observe(judge, layout, Variants((), {}), Meaningless({}, {}, {}), grading_of(SHOULDER))


def spoken(told: Observed) -> dict[str, object]:
    return {entry.seat.name: entry.observation for entry in told.spoken}


def test_a_plain_positive_satisfies_a_reading_that_accepts_every_way() -> None:
    told = spoken(seen(positive("belly_press", "left")))
    assert told == {"belly_press_either.left": True}


def test_a_plain_positive_of_a_place_weighs_softly() -> None:
    # Neither of its readings accepts every place, so that the first of them leans.
    told = spoken(seen(positive("active_compression", "left", pain=True)))
    leaning = told["active_compression_top.left"]
    assert isinstance(leaning, tuple)
    assert 0 < leaning[0] < leaning[1] < 1


def test_which_way_it_was_positive_is_asked_once_for_each_look() -> None:
    result = interpret(record(positive("empty_can", "left"), positive("neer", "left")), SHOULDER)
    assert [(e.item, e.side) for e in result.to_state] == [("empty_can", "left")]
    assert result.to_state[0].ways == ("pain", "weakness")


def test_flags_take_thresholds_at_their_word() -> None:
    rec = record(found("winging_rest", "left", "sign", grade="slight"))
    judge = Judge(PROTOCOL, rec)
    reading = PROTOCOL.readings_by_id["resisted_flexion_winging"]
    assert judge.criterion(reading.criterion, "winging_rest", "left").state is State.NOT_MET


def test_a_record_of_a_batch_is_as_loud_as_alone() -> None:
    loud = record(*lost(60)).model_copy(update={"id": "loud"})
    quiet = record(*lost(32)).model_copy(update={"id": "quiet"})
    alone = [weigh_records([one], REGIONS)[0].posterior for one in (loud, quiet)]
    together = [one.posterior for one in weigh_records([loud, quiet], REGIONS)]
    for mine, both in zip(alone, together, strict=True):
        assert mine is not None
        assert both == pytest.approx(mine, abs=1e-12)


@pytest.mark.skipif(not network.compiled_available(), reason="numba is an optional extra")
def test_compiled_sums_hear_a_loud_finding_alike() -> None:
    told = {}
    for compiled in (False, True):
        network.turn_on_compiled(compiled)
        try:
            told[compiled] = probability(record(*lost(60), *lag(25)), "frozen")
        finally:
            network.turn_on_compiled(False)
    assert told[True] == pytest.approx(told[False], abs=1e-12)


def test_what_a_louder_finding_multiplies_is_right_by_hand() -> None:
    """One cause with a prior of .2, link .6 and leak .1; at a quarter of the leak by hand."""
    structure = network.Structure((network.Variable("c"),), (network.Reading("r", ("c",)),))

    def posterior(leak: float) -> float:
        parameters = network.Parameters(
            prior=np.array([[[0.8, 0.2]]]), link=np.array([[0.6]]), leak=np.array([[leak]])
        )
        net = network.Network(structure, parameters)
        return float(solve(net, observed(structure, {"r": True})).marginal[0, 0, 1])

    by_hand = 0.2 * (1 - 0.975 * 0.4) / (0.2 * (1 - 0.975 * 0.4) + 0.8 * 0.025)
    assert posterior(0.025) == pytest.approx(by_hand, abs=1e-12)
    assert posterior(0.025) > posterior(0.1)


def test_a_grading_that_falls_with_the_grade_is_refused() -> None:
    data = read_yaml(FOLDER / "grading.yaml")
    data["power"][2]["leak"] = 0.1
    with pytest.raises(UserErrors, match="leak and lower that do not rise"):
        grading_of(with_parts(SHOULDER, grading=data))


def test_a_weight_without_a_source_is_refused() -> None:
    data = read_yaml(FOLDER / "grading.yaml")
    del data["plain_positive"]["basis"]
    with pytest.raises(UserErrors, match="basis"):
        grading_of(with_parts(SHOULDER, grading=data))
