"""The feedback in lines of text."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from sidewise.ground.percent import percent
from sidewise.practice.feedback.omissions import ItemLeft
from sidewise.practice.feedback.report import Feedback

MOST_LISTED = 6


def feedback_lines(told: Feedback) -> list[str]:
    """What is said of an attempt; what was missed stands first."""
    return [
        told.notice,
        "",
        *_flags(told),
        "One thing to do differently:",
        f"  {told.one_thing.words}",
        *([f"  How: {told.one_thing.how}"] if told.one_thing.how else []),
        "",
        *_truth(told),
        *_chances(told),
        *_examination(told),
    ]


def _flags(told: Feedback) -> Iterator[str]:
    for one in told.flags_missed:
        how = "it stands by what you recorded" if one.seen else "it was not looked for"
        yield f"MISSED: {one.label} ({how}). No score makes up for it."
    if told.flags_missed:
        yield ""
    if told.named_in_vain:
        yield f"Named, and not there: {', '.join(told.named_in_vain)}."
        yield ""


def _truth(told: Feedback) -> Iterator[str]:
    yield f"What it was: {'; '.join(told.truth) or 'nothing on the list'}."


def _chances(told: Feedback) -> Iterator[str]:
    yield ""
    if len(told.complaint) == 1:
        yield (
            f"Chances are of the {told.complaint[0]} side, which hurts, and of the whole person; "
            "what the other side has does not count here."
        )
    yield f"{'':44}  you  findings  truth"
    for one in told.groups:
        there = "there" if one.there else "-"
        yield f"{one.label[:44]:44} {one.stated:4.0%}  {percent(one.warranted):>8}  {there}"
    yield (
        f"Brier score {told.stated.brier:.3f}, perfect reading of the same findings "
        f"{told.perfect.brier:.3f}; log score {told.stated.log:.2f} and {told.perfect.log:.2f} "
        "bits (the lower the better)."
    )
    if told.lucky:
        yield "You came closer to the truth than these findings allow: that was luck, this time."
    for one in told.groups:
        if one.because and (one.there or abs(one.stated - one.warranted) >= 0.2):
            yield f"{one.label}: {'; '.join(one.because)}."
    if told.parting is not None:
        label = next(one.label for one in told.groups if one.group == told.parting.group)
        yield (
            f"At step {told.parting.step} you and the findings parted over {label}: you "
            f"{told.parting.stated:.0%}, they {told.parting.warranted:.0%} ({told.parting.kind})."
        )


def _examination(told: Feedback) -> Iterator[str]:
    yield ""
    got = told.gathering
    yield (
        f"{told.seconds / 60:.1f} minutes, soreness {told.soreness:g}, hints {told.hints}; "
        f"{got.minutes:.1f} minutes of examining."
    )
    yield f"What you examined could tell {got.bits:.2f} bits ({got.low:.2f} to {got.high:.2f})."
    if got.best is not None:
        shown = "; ".join(got.best_items[:MOST_LISTED])
        yield f"The most telling for these minutes could tell {got.best:.2f} bits: {shown}."
    elif got.no_best:
        yield got.no_best
    if told.flags_by_chance:
        yield (
            f"Stray signs that you did not meet would also have raised: "
            f"{', '.join(told.flags_by_chance)}. None of what this patient has causes them."
        )
    yield from _listed("Not compared with the other side", told.not_compared)
    yield from _listed("Only on the side that does not hurt", told.swapped)
    yield from _listed("Sore for little", told.needless)
    called = [one for one in told.essentials_left_out if one.why]
    yield from _listed("Called for and left out", called)
    rest = len(told.essentials_left_out) - len(called)
    if rest:
        yield f"Of a full examination {rest} more essentials were not done: they stay not examined."


def _listed(what: str, items: Sequence[ItemLeft]) -> Iterator[str]:
    if items:
        more = f" and {len(items) - MOST_LISTED} more" if len(items) > MOST_LISTED else ""
        yield f"{what}: {'; '.join(one.label for one in items[:MOST_LISTED])}{more}."
