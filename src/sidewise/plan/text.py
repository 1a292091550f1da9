"""A plan in words, for the terminal."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby

from sidewise.plan.examination_plan import ExaminationPlan, PlanStep


def plan_text_lines(plan: ExaminationPlan) -> Iterator[str]:
    """What must not be missed, then the order, then how good it is."""
    yield f"PLAN for {plan.minutes:g} minutes"
    if plan.stop:
        yield plan.stop
        yield from plan.cautions
        return
    yield from _asked(plan)
    yield ""
    yield from _set_up("First", plan.before)
    for (stage, posture), steps in groupby(plan.steps, key=lambda s: (s.stage, s.posture)):
        yield f"{stage} ({posture})"
        for step in steps:
            yield f"  {step_words(step)}"
    yield from _set_up("Last", plan.after)
    yield ""
    yield time_words(plan)
    yield from bits_words(plan)
    yield from _not_planned(plan)
    yield ""
    yield from plan.said
    yield from plan.cautions


def _asked(plan: ExaminationPlan) -> Iterator[str]:
    if plan.ask:
        yield f"Ask first: {', '.join(plan.ask)}."


def _set_up(word: str, steps: tuple[object, ...]) -> Iterator[str]:
    names = ", ".join(getattr(step, "label", "") for step in steps)
    if names:
        yield f"{word}: {names}"


def step_words(step: PlanStep) -> str:
    """One step in a line: what, how, where to stand, why."""
    modes = f", {' then '.join(step.modes)}" if step.modes else ""
    why = f"{step.kind}: {step.because}" if step.because else step.kind
    told = f"; {step.bits:.2f} bits" if step.bits >= 0.005 else ""
    sore = "; sore" if step.soreness > 1 else ""
    return f"{step.label}{modes} [{step.place}, {step.seconds} s{sore}] {why}{told}"


def time_words(plan: ExaminationPlan) -> str:
    """How long it takes, how often the patient moves, and how good it is known to be."""
    times = "once" if plan.changes == 1 else f"{plan.changes} times"
    proven = "No better plan exists (proven)" if plan.proven else f"Best found; {plan.gap}"
    return (
        f"{plan.seconds / 60:.1f} minutes with preparing and closing; the patient changes posture "
        f"{times}. {proven}."
    )


def bits_words(plan: ExaminationPlan) -> Iterator[str]:
    """What it can be expected to tell."""
    if plan.bits is None:
        return
    b = plan.bits
    yield (
        f"Together it can be expected to tell {b.together:.2f} bits ({b.low:.2f} to {b.high:.2f}, "
        f"sampled) of {b.doubt:.2f} in doubt; singly {b.single:.2f}, discounted {b.discounted:.2f}."
    )


def _not_planned(plan: ExaminationPlan) -> Iterator[str]:
    if plan.left_out:
        yield "DOES NOT FIT and stays to be done:"
        for one in plan.left_out:
            yield f"  {one.label} ({one.kind}: {one.because})"
    if plan.withheld:
        reasons = {one.reason for one in plan.withheld}
        yield f"{len(plan.withheld)} items {'; '.join(sorted(reasons))}."
