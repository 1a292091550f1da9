"""What the findings may mean, as the sentences of a note."""

from __future__ import annotations

from collections.abc import Iterator

from sidewise.ground.language import mark_text, say_text, term
from sidewise.note.meaning import (
    condition_words,
    estimated_conditions,
    main_reasons,
    next_words,
    not_estimated,
    not_weighed_words,
    shown_and_rest,
    to_state_words,
    unlikely_words,
)
from sidewise.reason.result import ConditionPosterior, Interpretation
from sidewise.record.model import LateralSide

SIDES: tuple[LateralSide, ...] = ("right", "left")


def meaning_sentences(result: Interpretation) -> list[str]:
    """What the findings may mean, and what would tell most next; one line for each statement."""
    lines: list[str] = [say_text("caution: {words}", words=warning) for warning in result.warnings]
    groups: list[tuple[str, tuple[ConditionPosterior, ...]]] = [
        (side, result.sides[side].conditions) for side in SIDES if side in result.sides
    ]
    groups.append((mark_text("whole person"), result.whole_person.conditions))
    all_of_them = [condition for _, conditions in groups for condition in conditions]
    every = estimated_conditions(all_of_them)
    if not any(condition.because for condition in every):
        # Silence of the findings must not read as reassurance.
        nothing = say_text("nothing examined bears on any listed condition")
        lines += [nothing] if every else []
    elif not any(_is_raised(condition) for condition in every):
        lines.append(
            say_text("no listed condition is made more likely by what was examined")
            if every == all_of_them
            else say_text(
                "no condition that is still estimated is made more likely by what was examined"
            )
        )
    else:
        lines += [line for group in groups for line in _conditions(*group)]
    lines += [f"{term(where)}, {words}" for where, cs in groups for words in not_estimated(cs)]
    lines += [f"{words}" for words in not_weighed_words(result)]
    if result.next:
        words = "; ".join(next_words(entry) for entry in result.next[:3])
        lines.append(say_text("would tell most next: {words}", words=words))
    lines += [f"{words}." for words in to_state_words(result)]
    return lines


def _is_raised(condition: ConditionPosterior) -> bool:
    """Likely enough for a line of its own, and made no less likely by findings worth saying."""
    shown = shown_and_rest((condition,))[0]
    return bool(shown and main_reasons(condition) and condition.estimate >= condition.prior)


def _conditions(where: str, conditions: tuple[ConditionPosterior, ...]) -> Iterator[str]:
    # A side without complaint and without findings is one line, not seventeen.
    raised = [condition for condition in conditions if _is_raised(condition)]
    for condition in raised:
        yield f"{term(where)}: {condition_words(condition)}"
    others = [
        condition for condition in estimated_conditions(conditions) if condition not in raised
    ]
    if others:
        yield say_text("{where}, not made more likely: {names}",
                       where=term(where), names=unlikely_words(others))  # fmt: skip
