"""What it may mean, in words: flags, probabilities with their basis, what would tell most next."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from math import ceil, exp, floor

from sidewise.ground.percent import percent
from sidewise.reason.result import (
    Because,
    ConditionPosterior,
    Interpretation,
    LevelPosterior,
    Next,
    RedFlag,
    Together,
)

NAMED = 0.02
SHOWN = 0.05
"""Conditions below this are gathered in one line; nothing is left out."""
EFFECTS = 3
WIDTH = 100
WORTH_SAYING = 0.2
"""Effects on the log odds below this (odds times 1.2) are not said in words."""


def with_interval(condition: ConditionPosterior) -> str:
    """Post-test probability with its interval: "62% (35 to 84)"."""
    if condition.low is None or condition.high is None:
        return percent(condition.estimate)
    return f"{percent(condition.estimate)} {_limits(condition.low, condition.high)}"


def _limits(low: float, high: float) -> str:
    # Rounded outwards, so that an interval never looks narrower than it is.
    return f"({floor(low * 100)} to {ceil(high * 100)})"


ACROSS = "as the two sides tend to go together"


def is_across(found: Because | Together, side: str | None) -> bool:
    """Whether a finding of the other side speaks to a condition of this one: only by what the two
    sides share."""
    return side is not None and {found.side, side} == {"left", "right"}


def effect_words(because: Because, side_of_condition: str | None = None) -> str:
    """A finding and which way it moved the odds, with how far its basis can be trusted."""
    if is_across(because, side_of_condition):
        moves = _moves(because.effect, "raises", "lowers", "hardly moves")
        return f"{because.side} {because.label} {because.found} ({moves}, {ACROSS})"
    moves = _moves(because.effect, "raises", "lowers", "hardly moves")
    tail = "" if because.leans_on == "studies" else f", {because.leans_on}"
    little = ", tells little" if because.tells_little else ""
    side = f"{because.side} " if because.side in ("left", "right") else ""
    return f"{side}{because.label} {because.found} ({moves}{tail}{little})"


def moves_odds(effect: float) -> bool:
    """Whether an effect on the log odds moves them by a factor that does not round to one."""
    return f"{exp(abs(effect)):.1f}" != "1.0"


def _moves(effect: float, up: str, down: str, hardly: str) -> str:
    """How an effect on the log odds moves them; a factor that rounds to one moves nothing."""
    if not moves_odds(effect):
        return f"{hardly} the odds"
    return f"{up if effect > 0 else down} the odds x{exp(abs(effect)):.1f}"


def together_words(together: Together, side_of_condition: str | None = None) -> str:
    """What findings of one mechanism did together, with how many of them were there."""
    moves = _moves(together.effect, "raise", "lower", "hardly move")
    side = f"{together.side} " if together.side in ("left", "right") else ""
    perhaps = f", {together.perhaps} perhaps" if together.perhaps else ""
    count = f"{together.found} of {len(together.readings)} found{perhaps}"
    across = f", {ACROSS}" if is_across(together, side_of_condition) else ""
    return f"{side}{together.label} ({count}: together they {moves}{across})"


def main_reasons(condition: ConditionPosterior) -> list[str]:
    """What counted most: a mechanism as a whole where several findings share it, else one."""
    words: list[tuple[float, str]] = []
    covered: set[tuple[str, str]] = set()
    for group in condition.together:
        words.append((abs(group.effect), together_words(group, condition.side)))
        covered |= {(reading, group.side) for reading in group.readings}
    for because in condition.because:
        if (because.reading, because.side) not in covered:
            words.append((abs(because.effect), effect_words(because, condition.side)))
    words.sort(key=lambda entry: -entry[0])
    return [text for size, text in words if size >= WORTH_SAYING][:EFFECTS]


def condition_words(condition: ConditionPosterior) -> str:
    """One condition: probability, where it came from, what counted most, and its levels."""
    text = f"{condition.label} {with_interval(condition)}, from {percent(condition.prior)}"
    because = main_reasons(condition)
    text += f", because: {'; '.join(because)}" if because else "; no finding counts for much"
    levels = levels_words(condition)
    return f"{text}; levels: {levels}" if levels else text


def shown_and_rest(
    conditions: tuple[ConditionPosterior, ...],
) -> tuple[list[ConditionPosterior], list[ConditionPosterior]]:
    """Conditions worth a line of their own, and those that are unlikely now, in their order.

    Those that a raised flag withholds are in neither: `not_estimated` names them.
    """
    shown: list[ConditionPosterior] = []
    rest: list[ConditionPosterior] = []
    for condition in estimated_conditions(conditions):
        (shown if condition.estimate >= SHOWN else rest).append(condition)
    return shown, rest


def estimated_conditions(conditions: Iterable[ConditionPosterior]) -> list[ConditionPosterior]:
    """The conditions that have a figure."""
    return [condition for condition in conditions if condition.withheld_because is None]


def not_estimated(conditions: Iterable[ConditionPosterior]) -> Iterator[str]:
    """One sentence for each flag that withholds conditions, with the conditions by name."""
    by_flag: dict[str, list[str]] = {}
    for condition in conditions:
        if condition.withheld_because is not None:
            by_flag.setdefault(condition.withheld_because, []).append(condition.label)
    for flag, labels in by_flag.items():
        yield f"not estimated: {flag} ({', '.join(labels)})"


def with_sides(found: Iterable[tuple[str, str]]) -> Iterator[str]:
    """Each label once, in the order given, with the side or sides it stands for."""
    sides: dict[str, list[str]] = {}
    for label, side in found:
        sides.setdefault(label, []).append(side)
    for label, where in sides.items():
        both = {"left", "right"} <= set(where)
        named = "both sides" if both else where[0]
        yield label if named == "midline" else f"{label} ({named})"


def not_weighed_words(result: Interpretation) -> Iterator[str]:
    """One sentence for each flag that findings weigh nothing under, with the findings by name."""
    by_flag: dict[str, list[tuple[str, str]]] = {}
    for entry in result.not_weighed:
        by_flag.setdefault(entry.withheld_because, []).append((entry.label, entry.side))
    for flag, found in by_flag.items():
        words = "; ".join(with_sides(found))
        yield f"found, but weighing nothing while the flag stands: {flag} ({words})"


def flag_lines(flags: tuple[RedFlag, ...], open_words: tuple[str, ...] = ()) -> Iterator[str]:
    """Flags raised, each with what to do; those called for; one line of what nobody looked at."""
    for flag in flags:
        if flag.status == "raised":
            yield f"RAISED ({flag.urgency}): {flag.label}. Suspect {flag.suspect}."
            yield f"  because: {'; '.join(flag.because)}"
            yield f"  do: {flag.do} How fast: {flag.how_fast}."
    open_flags = called_for_flags(flags)
    for flag in (flag for flag in open_flags if flag.because):
        yield f"NOT EXCLUDED ({flag.urgency}): {flag.label} ({'; '.join(flag.because)})."
        yield f"  not asked or not examined: {some_words(flag.missing)}"
    # Those for which nothing recorded speaks yet stand together.
    if waiting := [flag for flag in open_flags if not flag.because]:
        missing = tuple(dict.fromkeys(word for flag in waiting for word in flag.missing))
        yield f"NOT EXCLUDED until asked or examined ({some_words(missing)}):"
        yield f"  {', '.join(flag.label for flag in waiting)}"
    if open_words:
        yield f"NOT LOOKED AT OR ASKED YET: {', '.join(open_words)}."


def called_for_flags(flags: tuple[RedFlag, ...]) -> tuple[RedFlag, ...]:
    """Flags not excluded for which something speaks: each is shown by itself."""
    return tuple(flag for flag in flags if flag.status == "not excluded" and flag.called_for)


MOST_MISSING = 6
"""Words of what is missing for one flag before the rest is counted."""


def some_words(missing: tuple[str, ...], between: str = ",") -> str:
    """The first of what is missing, and how many more there are; `between` parts them."""
    more = len(missing) - MOST_MISSING
    shown = f"{between} ".join(missing[:MOST_MISSING])
    return f"{shown} and {more} more" if more > 0 else shown


def next_words(entry: Next) -> str:
    """An item that would tell more, and what for: "Neer (would tell much, 8 seconds)"."""
    side = f"{entry.side} " if entry.side in ("left", "right") else ""
    return f"{side}{entry.label} ({purpose_words(entry)})"


def purpose_words(entry: Next) -> str:
    """What a step is for: the flag it screens, or how much it would tell and in what time."""
    seconds = f"{entry.minutes * 60:.0f} seconds"
    if entry.screens_flag:
        return entry.screens_flag
    return f"{entry.tells}, {seconds}" if entry.tells else seconds


def levels_words(condition: ConditionPosterior) -> str:
    """The levels of a condition that has several, each with its interval; "" for one of one."""
    if len(condition.levels) < 2 or condition.posterior is None:
        return ""
    return ", ".join(_level_words(level) for level in condition.levels)


def _level_words(level: LevelPosterior) -> str:
    if level.posterior is None or level.low is None or level.high is None:
        return level.level
    return f"{level.level} {percent(level.posterior)} {_limits(level.low, level.high)}"


def to_state_words(result: Interpretation) -> Iterator[str]:
    """One question for each positive result of which it was not said in which way."""
    for entry in result.to_state:
        side = f"{entry.side} " if entry.side in ("left", "right") else ""
        asked = f"{side}{entry.label} was positive: in which way ({', '.join(entry.ways)})?"
        yield f"{asked} It weighs softly until said"


def meaning_lines(result: Interpretation) -> Iterator[str]:
    """The whole interpretation as lines of text, not yet wrapped."""
    yield f"{result.record}: what the findings may mean (setting: {result.setting})"
    yield from (f"! {line}" for line in flag_lines(result.red_flags, result.not_looked_at))
    for warning in result.warnings:
        yield f"  caution: {warning}"
    for side in ("right", "left"):
        if side in result.sides:
            yield from _side_lines(side.upper(), result.sides[side].conditions)
    yield from _side_lines("WHOLE PERSON", result.whole_person.conditions)
    yield from _difference_lines(result)
    if applied := [v.label for v in result.variants if v.applied]:
        yield "  normal variants: " + "; ".join(dict.fromkeys(applied))
    if result.next:
        yield "  would tell most next: " + "; ".join(next_words(n) for n in result.next[:4])
    if result.withheld:
        reasons_given = dict.fromkeys(e.reason.removeprefix("withheld: ") for e in result.withheld)
        yield f"  withheld ({len(result.withheld)} items): " + "; ".join(reasons_given)
    if result.next_end:
        yield f"  {result.next_end}"
    yield from (f"  {words}." for words in to_state_words(result))
    yield from (f"  {words}" for words in not_weighed_words(result))
    yield "  " + " ".join(result.cautions)


def _difference_lines(result: Interpretation) -> Iterator[str]:
    judged = [d for d in result.differences if d.real is not None]
    if not judged:
        return
    real = [d for d in judged if d.real]
    yield f"DIFFERENCES between the sides: {len(real)} of {len(judged)} real"
    yield from (f"  {difference.sentence}" for difference in real)


def meaning_text(result: Interpretation) -> str:
    """The whole interpretation as text for the command line, wrapped."""
    import textwrap

    wrapped: list[str] = []
    for line in meaning_lines(result):
        wrapped += textwrap.wrap(line, WIDTH, subsequent_indent="    ", break_long_words=False)
    return "\n".join(wrapped)


def _side_lines(title: str, conditions: tuple[ConditionPosterior, ...]) -> Iterator[str]:
    if not conditions:
        return
    yield title
    shown, rest = shown_and_rest(conditions)
    yield from (f"  {condition_words(condition)}" for condition in shown)
    if rest:
        yield f"  unlikely: {unlikely_words(rest)}"
    yield from (f"  {words}" for words in not_estimated(conditions))


def unlikely_words(conditions: list[ConditionPosterior]) -> str:
    """Conditions not made more likely: those of 2% or more by name, the rest in one phrase."""
    named = [f"{c.label} {percent(c.estimate)}" for c in conditions if c.estimate >= NAMED]
    others = len(conditions) - len(named)
    if others:
        what = "1 other" if others == 1 else f"{others} others each"
        named.append(f"{what} under {NAMED * 100:.0f}%")
    return ", ".join(named)
