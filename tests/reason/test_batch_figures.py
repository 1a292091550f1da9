"""A register weighed: the same answers as one by one."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from sidewise import network as engine
from sidewise.network import observed, solve
from sidewise.reason import interpret
from sidewise.reason.batch.posteriors import (
    WeighedRecord,
    judge_record,
    mean_parameters,
    mean_prior,
    record_contents,
    same_figures,
    weigh_records,
)
from sidewise.reason.batch.run import run_batch
from sidewise.reason.weighing.layout import network_layout
from sidewise.reason.weighing.pretest_prior import case_of, pretest_prior
from sidewise.record import Record, read_record
from sidewise.regions import regions
from tests.builders import negative, positive, record
from tests.reason.registers import (
    DRAWS,
    EXAMPLES,
    FEW,
    ROOT,
    answers,
    documents,
)
from tests.shoulder import PROTOCOL, REGIONS, SHOULDER


def test_draws_give_exactly_what_interpret_gives(shorts: list[Record], tmp_path: Path) -> None:
    some = [one for one in shorts if one.id in ("frozen", "painful-arc")]
    run_batch(documents(some, tmp_path / "in"), tmp_path / "out", regions, draws=DRAWS)
    table = answers(tmp_path / "out").set_index(["record", "condition", "side"])
    assert table.index.is_unique
    compared = 0
    for one in some:
        told = interpret(one, SHOULDER, draws=DRAWS)
        parts = [*told.sides["left"].conditions, *told.sides["right"].conditions]
        for condition in [*parts, *told.whole_person.conditions]:
            row = table.loc[(one.id, condition.condition, condition.side or "person")]
            for name in ("prior", "posterior", "low", "high"):
                assert row[name] == pytest.approx(getattr(condition, name), abs=1e-9)
            compared += 1
    assert compared == len(table) >= 60


def alone_by_mean(answer: WeighedRecord) -> np.ndarray:
    """One record under the batch's mean parameters, with its own case and the plain engine."""
    one, said = answer.record, answer.judged
    prior = mean_prior(SHOULDER, case_of(one, said.setting, PROTOCOL), one.context.complaint).prior
    known = mean_parameters(SHOULDER, one.context.complaint, said.setting)
    structure = network_layout(SHOULDER, one.context.complaint).structure
    assert said.seen is not None
    link, leak = known.link.copy(), known.leak.copy()
    # By hand: a reading beyond its threshold is rarer without a cause, and with a lower level.
    for name, louder in said.seen.louder.items():
        reading = structure.reading_index[name]
        leak[:, reading] *= louder.leak
        for position, variable in enumerate(structure.parent_numbers[reading]):
            columns = structure.link_columns(reading, position)
            for level in range(1, structure.levels[variable]):
                below = structure.levels[variable] - 1 - level
                link[:, columns.start + level - 1] *= louder.lower**below
    network = engine.Network(structure, replace(known, prior=prior[None], link=link, leak=leak))
    return np.asarray(solve(network, observed(structure, said.seen.findings)).marginal[0])


def test_shared_rows_give_what_each_record_gives_alone(shorts: list[Record]) -> None:
    outcomes = [(negative, negative), (positive, negative), (positive, positive)]
    made = [
        record(first("hawkins_kennedy", "left"), second("empty_can", "left"), age=age, sex=sex)
        .model_copy(update={"id": f"{place}-{age}-{sex}"})
        for place, (first, second) in enumerate(outcomes)
        for age in (30, 45, 66)
        for sex in ("female", "male")
    ]  # fmt: skip
    weighed = weigh_records([*shorts, *made], REGIONS)
    for answer in weighed:
        expected = alone_by_mean(answer)
        assert answer.posterior == pytest.approx(expected, abs=1e-9)
    assert len(weighed) == len(shorts) + 18


def test_records_that_saw_different_readings_do_not_disturb_one_another() -> None:
    both = record(negative("hawkins_kennedy", "left"), negative("neer", "left"))
    one = record(negative("neer", "left"))
    other = record(negative("hawkins_kennedy", "left"))
    none = record()
    together = weigh_records([both, one, other, none], REGIONS)
    for answer in together:
        alone = weigh_records([answer.record], REGIONS)[0]
        assert answer.posterior == pytest.approx(alone.posterior, abs=1e-12)


@pytest.mark.parametrize("complaint", [[], ["left"], ["left", "right"]])
def test_nothing_examined_gives_the_pretest_figures(complaint: list[str]) -> None:
    answer = weigh_records([record(complaint=complaint)], REGIONS)[0]
    assert answer.posterior == pytest.approx(answer.prior, abs=1e-9)


def test_pretest_figures_of_the_complaint_are_those_of_interpret() -> None:
    told = interpret(record(), SHOULDER, draws=DRAWS).sides["left"].conditions
    answer = weigh_records([record()], REGIONS)[0]
    assert answer.prior is not None
    names = network_layout(SHOULDER, ("left",)).structure.variable_index
    for condition in told:
        # The figures' draws are centred on them to 1e-9; the complaint is met again to 1e-10.
        here = 1 - answer.prior[names[f"{condition.condition}.left"], 0]
        assert here == pytest.approx(condition.prior, abs=1e-8)
    assert len(told) >= 10


@pytest.mark.parametrize("weeks", [None, 1, 3.9, 4, 30, 104, 105])
def test_rounded_cases_have_the_same_figures(weeks: float | None) -> None:
    swept = 0
    for age in (18, 29, 40, 49, 50, 59, 64, 65, 80, 99, 120):
        one = record(age=age, duration_weeks=weeks)
        exact = pretest_prior(SHOULDER, case_of(one, "primary", PROTOCOL), ("left",), 10)
        rounded = same_figures(SHOULDER, case_of(one, "primary", PROTOCOL))
        near = pretest_prior(SHOULDER, rounded, ("left",), 10)
        assert np.array_equal(exact.prior, near.prior)
        assert near.pretest.rows == exact.pretest.rows
        swept += 1
    assert swept == 11


def test_flags_and_doubts_are_those_of_interpret(shorts: list[Record], tmp_path: Path) -> None:
    hot = read_record(ROOT / "examples" / "hot-joint.json", REGIONS)
    hot = hot.model_copy(update={"findings": tuple(f for f in hot.findings if f.item not in FEW)})
    unsure = record(age=None, setting=None, complaint=[]).model_copy(update={"id": "unsure"})
    some = [hot.model_copy(update={"findings": hot.findings[:25]}), unsure]
    run_batch(documents(some, tmp_path / "in"), tmp_path / "out", regions, draws=DRAWS)
    table = answers(tmp_path / "out")
    for one in some:
        told = interpret(one, SHOULDER, draws=DRAWS)
        row = table[table["record"] == one.id].iloc[0]
        raised = [flag.flag for flag in told.red_flags if flag.status == "raised"]
        assert row["flags_raised"] == "; ".join(raised)
        # "Unusual combination" needs a thousand simulated records for each; a batch omits it.
        doubts = [w for w in told.warnings if "unusual combination" not in w]
        assert row["warnings"] == "; ".join(doubts)
    assert "is assumed" in table[table["record"] == "unsure"]["warnings"].iloc[0]


def test_records_taken_for_alike_have_the_same_flags_and_readings() -> None:
    swept: dict[str, set[tuple[object, ...]]] = {}
    for age in (None, *range(121)):
        for weeks in (None, 0, 1, 2, 3, 4, 5, 6, 7, 12, 13, 26, 27, 53):
            one = record(positive("neer", "left"), age=age, duration_weeks=weeks, pain_0_10=7)
            swept.setdefault(record_contents(one, SHOULDER), set()).add((age, weeks))
    assert 10 < len(swept) < 300  # far fewer than the 1,708 records
    compared = 0
    for alike in list(swept.values())[:: len(swept) // 12]:
        ends = sorted(alike, key=str)[:1] + sorted(alike, key=str)[-1:]
        found = [
            judge_record(
                record(positive("neer", "left"), age=a, duration_weeks=w, pain_0_10=7),
                SHOULDER,
                None,
            )
            for a, w in ends
        ]
        assert found[0] == found[1]
        compared += 1
    assert compared >= 12


def test_a_limit_on_a_number_separates_records_on_its_two_sides() -> None:
    below, at = (record_contents(record(age=age), SHOULDER) for age in (17, 18))
    assert below != at
    assert record_contents(record(pain_0_10=0), SHOULDER) != record_contents(
        record(pain_0_10=None), SHOULDER
    )


def test_under_age_has_one_row_with_its_flags_and_no_figure(tmp_path: Path) -> None:
    child = record(positive("neer", "left"), age=12)
    run_batch(documents([child], tmp_path / "in"), tmp_path / "out", regions)
    table = answers(tmp_path / "out")
    assert len(table) == 1
    assert np.isnan(table["posterior"]).all()
    assert "Under 18" in table["warnings"].item()


@pytest.mark.slow
def test_whole_examinations_are_weighed_as_one_by_one() -> None:
    records = [read_record(path, REGIONS) for path in EXAMPLES]
    weighed = weigh_records(records, REGIONS)
    for answer in weighed:
        assert answer.posterior == pytest.approx(alone_by_mean(answer), abs=1e-9)
    assert len(weighed) == len(EXAMPLES)
