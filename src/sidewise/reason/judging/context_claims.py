"""What the history and the fields of the visit say of a leaf, with every value that was stated."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from sidewise.reason.judging.judge import Judge
from sidewise.reason.judging.rules import ContextTest
from sidewise.reason.judging.truth import DOUBTED, FAILS, HOLDS, UNSTATED, Truth, of_claims
from sidewise.record import Context

ANSWERS = {"yes": HOLDS, "no": FAILS, "unsure": DOUBTED}


@dataclass(frozen=True, slots=True)
class Said:
    """What a question or a field comes to; `name` is the question's, which can call for a flag."""

    truth: Truth
    label: str
    name: str = ""
    doubted: bool = False


def question_claims(name: str, judge: Judge) -> Said:
    """A question held to be answered yes, by each answer that was given."""
    context = judge.record.context
    given = context.disputed.get(f"history.{name}") or (context.answer(name),)
    found = [ANSWERS.get(str(answer), UNSTATED) for answer in given]
    label = judge.protocol.history_by_id[name].label
    return Said(of_claims(found), label, name, DOUBTED in found)


def context_claims(test: ContextTest, context: Context, sides: tuple[str, ...]) -> list[Said]:
    """Each part of a test of the context."""
    return [_part(name, wanted, context, sides) for name, wanted in test if wanted is not None]


MEASURES: dict[str, tuple[str, Callable[[Any, Any], bool], str]] = {
    "age_at_least": ("age", lambda age, limit: age >= limit, "age {:g} or over"),
    "age_below": ("age", lambda age, limit: age < limit, "age under {:g}"),
    "duration_weeks_below": ("duration_weeks", lambda w, limit: w < limit, "less than {:g} weeks"),
    "duration_weeks_over": ("duration_weeks", lambda w, limit: w > limit, "more than {:g} weeks"),
    "pain_at_least": ("pain_0_10", lambda pain, limit: pain >= limit, "pain"),
    "onset": ("onset", lambda onset, word: onset == word, "{} onset"),
    "sex": ("sex", lambda sex, word: sex == word, "{}"),
}
"""A test's field, when its value passes, and its words."""


def _part(name: str, wanted: Any, context: Context, sides: tuple[str, ...]) -> Said:
    if name in MEASURES:
        measured, passes, words = MEASURES[name]
        found = [
            UNSTATED if value is None else HOLDS if passes(value, wanted) else FAILS
            for value in _stated(measured, context)
        ]
        return Said(of_claims(found), words.format(wanted))
    if name == "known":
        known = (getattr(context.known, side) for side in sides if side != "midline")
        hit = any(getattr(one, wanted) for one in known)
        return Said(HOLDS if hit else FAILS, f"known {wanted}")
    # No complaint noted is not a complaint denied.
    if not context.complaint:
        return Said(UNSTATED, "which side complains")
    if name == "complaint":
        hit = any(side in context.complaint for side in sides)
        return Said(HOLDS if hit else FAILS, "a complaint")
    assert name == "complaint_both", f"no test called {name}"
    return Said(HOLDS if len(context.complaint) == 2 else FAILS, "both sides complain")


def _stated(name: str, context: Context) -> Iterator[Any]:
    """Every value given for a field; None where it was left blank."""
    yield from context.disputed.get(name) or (getattr(context, name),)
