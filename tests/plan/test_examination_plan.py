"""What a clinician expects of a plan.

Common practice, no source: what must not be missed comes first, one looks before one feels and
feels before one moves, what hurts comes last, and at an emergency one stops.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner

from sidewise import cli
from sidewise.errors import UserError
from sidewise.plan import ExaminationPlan, plan_examination, presentation
from sidewise.plan.pocket_card import pocket_card
from sidewise.record import read_record
from tests.shoulder import PROTOCOL, REGIONS, SHOULDER

pytest.importorskip("ortools")
EXAMPLES = Path(__file__).parents[2] / "examples"


@pytest.fixture(scope="module")
def plan() -> ExaminationPlan:
    return plan_examination(presentation("shoulder", "left", 58), SHOULDER, 6)


def example(name: str, minutes: float = 6) -> ExaminationPlan:
    return plan_examination(read_record(EXAMPLES / f"{name}.json", REGIONS), SHOULDER, minutes)


def test_it_fits_into_the_minutes(plan: ExaminationPlan) -> None:
    parts = [step.seconds for step in (*plan.before, *plan.steps, *plan.after)]
    moves = [step.change_seconds for step in plan.steps]
    assert plan.seconds == sum(parts) + sum(moves) <= 6 * 60
    assert len(plan.steps) > 20


def test_every_screening_look_is_in_before_anything_is_chosen_for_its_news(
    plan: ExaminationPlan,
) -> None:
    screens = {item.id for item in PROTOCOL.items if item.role == "flag"}
    assert screens <= {step.item for step in plan.steps}
    assert len(screens) == 21


def test_look_feel_move_in_order_and_what_provokes_last(plan: ExaminationPlan) -> None:
    stages = [stage.id for stage in PROTOCOL.stages]
    provokes = [
        step.soreness >= 2 and PROTOCOL.item(step.item).kind("result") is not None
        for step in plan.steps
    ]
    assert provokes == sorted(provokes)
    places = [
        stages.index(PROTOCOL.item(step.item).stage)
        for step, sore in zip(plan.steps, provokes, strict=True)
        if not sore
    ]
    assert places == sorted(places)


def test_active_comes_before_passive() -> None:
    plan = plan_examination(presentation("shoulder", "left", 58), SHOULDER, 8)
    moved = [step.modes for step in plan.steps if len(step.modes) > 1]
    assert moved
    assert all(modes.index("active") < modes.index("passive") for modes in moved)


def test_what_it_tells_is_told_three_ways(plan: ExaminationPlan) -> None:
    assert plan.bits is not None
    assert 0 < plan.bits.discounted <= plan.bits.single
    assert plan.bits.low <= plan.bits.together <= plan.bits.high < plan.bits.doubt
    assert any("half" in line for line in plan.said)


def test_more_time_never_tells_less(plan: ExaminationPlan) -> None:
    shorter = plan_examination(presentation("shoulder", "left", 58), SHOULDER, 4)
    assert shorter.bits is not None
    assert plan.bits is not None
    assert shorter.bits.discounted <= plan.bits.discounted


def test_left_and_right_are_planned_alike(plan: ExaminationPlan) -> None:
    other = plan_examination(presentation("shoulder", "right", 58), SHOULDER, 6)
    assert [step.item for step in other.steps] == [step.item for step in plan.steps]


def test_at_an_emergency_there_is_no_plan() -> None:
    found = example("hot-joint")
    assert found.stop.startswith("Stop here: hot, swollen joint")
    assert found.steps == ()
    assert "Stop here" in pocket_card(found)


def test_what_is_recorded_is_not_planned_again_and_what_is_called_for_is() -> None:
    found = example("frozen")
    record = read_record(EXAMPLES / "frozen.json", REGIONS)
    done = {finding.item for finding in record.findings}
    planned = {step.item for step in found.steps}
    assert not planned & done
    assert "crepitus" in planned
    assert "fever" in found.ask


def test_under_18_only_what_must_be_done_is_planned() -> None:
    found = plan_examination(presentation("shoulder", "left", 15), SHOULDER, 8)
    assert found.bits is None
    assert {step.kind for step in found.steps} <= {"screens a flag", "called for"}
    assert any("Under 18" in line for line in found.said)


def test_too_short_for_what_every_visit_has() -> None:
    with pytest.raises(UserError, match=r"expected more than 2.1"):
        plan_examination(presentation("shoulder"), SHOULDER, 1)


@pytest.mark.parametrize("minutes", [0, -3, float("nan"), 61])
def test_minutes_that_are_none(minutes: float) -> None:
    with pytest.raises(UserError, match="--minutes"):
        plan_examination(presentation("shoulder"), SHOULDER, minutes)


def test_an_unknown_side_is_refused() -> None:
    with pytest.raises(UserError, match="one of left, right, both"):
        presentation("shoulder", "upper")


def test_the_card_names_every_step_and_needs_nothing_else(plan: ExaminationPlan) -> None:
    card = pocket_card(plan)
    assert all(step.label.replace("'", "&#x27;") in card for step in plan.steps)
    assert card.count("<h1>") == 1
    assert "http" not in card
    assert "does not diagnose" in card


def test_the_command_writes_the_card(tmp_path: Path) -> None:
    card = tmp_path / "card.html"
    words = ["plan", "--minutes", "3", "--for", str(EXAMPLES / "winging.json"), "--card", str(card)]
    found = CliRunner().invoke(cli.app, words)
    assert found.exit_code == 0, found.output
    assert "PLAN for 3 minutes" in found.stdout
    assert card.read_text().startswith("<!doctype html>")


@pytest.mark.parametrize("name", ["card.pdf", "nowhere/card.html"])
def test_a_card_that_cannot_be_written_is_said_before_anything_is_computed(name: str) -> None:
    found = CliRunner().invoke(cli.app, ["plan", "--minutes", "8", "--card", name])
    assert isinstance(found.exception, UserError)
    assert found.exception.where == "--card"
