"""What it may mean, in words: flags, probabilities with their basis, what would tell most next."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from math import ceil, exp, floor

from sidewise.ground.language import mark_text, say_count, say_number, say_text, term
from sidewise.ground.line_width import line_width
from sidewise.ground.percent import percent
from sidewise.note.phrases import said_label, said_side
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
    return say_text("({low} to {high})", low=floor(low * 100), high=ceil(high * 100))


ACROSS = mark_text("as the two sides tend to go together")
ONE = (
    mark_text("raises the odds x{factor}"),
    mark_text("lowers the odds x{factor}"),
    mark_text("hardly moves the odds"),
)
SEVERAL = (
    mark_text("raise the odds x{factor}"),
    mark_text("lower the odds x{factor}"),
    mark_text("hardly move the odds"),
)
"""How one finding, or several together, move the odds: up, down, or by a factor that is one."""


def is_across(found: Because | Together, side: str | None) -> bool:
    """Whether a finding of the other side speaks to a condition of this one: only by what the two
    sides share."""
    return side is not None and {found.side, side} == {"left", "right"}


def effect_words(because: Because, side_of_condition: str | None = None) -> str:
    """A finding and which way it moved the odds, with how far its basis can be trusted."""
    if is_across(because, side_of_condition):
        moves = _moves(because.effect, ONE)
        return f"{_found(because)} ({moves}, {term(ACROSS)})"
    moves = _moves(because.effect, ONE)
    tail = "" if because.leans_on == "studies" else f", {term(because.leans_on)}"
    little = say_text(", tells little") if because.tells_little else ""
    return f"{_found(because)} ({moves}{tail}{little})"


def _found(because: Because) -> str:
    return f"{said_side(because.side, term(because.label))} {term(because.found)}"


def moves_odds(effect: float) -> bool:
    """Whether an effect on the log odds moves them by a factor that does not round to one."""
    return f"{exp(abs(effect)):.1f}" != "1.0"


def _moves(effect: float, words: tuple[str, str, str]) -> str:
    """How an effect on the log odds moves them; a factor that rounds to one moves nothing."""
    if not moves_odds(effect):
        return say_text(words[2])
    factor = say_number(exp(abs(effect)), ".1f")
    return say_text(words[0] if effect > 0 else words[1], factor=factor)


def together_words(together: Together, side_of_condition: str | None = None) -> str:
    """What findings of one mechanism did together, with how many of them were there."""
    perhaps = ""
    if together.perhaps:
        perhaps = say_text(", {count} perhaps", count=together.perhaps)
    across = f", {term(ACROSS)}" if is_across(together, side_of_condition) else ""
    return say_text(
        "{what} ({found} of {all} found{perhaps}: together they {move}{across})",
        what=said_side(together.side, _said_labels(together.label)), found=together.found,
        all=len(together.readings), perhaps=perhaps, move=_moves(together.effect, SEVERAL),
        across=across,
    )  # fmt: skip


def _said_labels(label: str) -> str:
    """The label of a family and of its mechanism, as they are joined in a result."""
    return ": ".join(term(part) for part in label.split(": "))


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
    text = say_text("{condition} {chance}, from {prior}", condition=term(condition.label),
                    chance=with_interval(condition), prior=percent(condition.prior))  # fmt: skip
    because = "; ".join(main_reasons(condition))
    if because:
        text += say_text(", because: {words}", words=because)
    else:
        text += say_text("; no finding counts for much")
    levels = levels_words(condition)
    return text + (say_text("; levels: {words}", words=levels) if levels else "")


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
            by_flag.setdefault(condition.withheld_because, []).append(term(condition.label))
    for flag, labels in by_flag.items():
        yield say_text("not estimated: {flag} ({names})", flag=flag, names=", ".join(labels))


def with_sides(found: Iterable[tuple[str, str]]) -> Iterator[str]:
    """Each label once, in the order given, with the side or sides it stands for."""
    sides: dict[str, list[str]] = {}
    for label, side in found:
        sides.setdefault(label, []).append(side)
    for label, where in sides.items():
        both = {"left", "right"} <= set(where)
        named = say_text("both sides") if both else term(where[0])
        yield term(label) if where[0] == "midline" else f"{term(label)} ({named})"


def not_weighed_words(result: Interpretation) -> Iterator[str]:
    """One sentence for each flag that findings weigh nothing under, with the findings by name."""
    by_flag: dict[str, list[tuple[str, str]]] = {}
    for entry in result.not_weighed:
        by_flag.setdefault(entry.withheld_because, []).append((entry.label, entry.side))
    for flag, found in by_flag.items():
        words = "; ".join(with_sides(found))
        yield say_text("found, but weighing nothing while the flag stands: {flag} ({words})",
                       flag=flag, words=words)  # fmt: skip


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
    return f"{said_side(entry.side, said_label(entry.label))} ({purpose_words(entry)})"


def purpose_words(entry: Next) -> str:
    """What a step is for: the flag it screens, or how much it would tell and in what time."""
    seconds = say_text("{seconds} seconds", seconds=f"{entry.minutes * 60:.0f}")
    if entry.screens_flag:
        return entry.screens_flag
    return f"{term(entry.tells)}, {seconds}" if entry.tells else seconds


def levels_words(condition: ConditionPosterior) -> str:
    """The levels of a condition that has several, each with its interval; "" for one of one."""
    if len(condition.levels) < 2 or condition.posterior is None:
        return ""
    return ", ".join(_level_words(level) for level in condition.levels)


def _level_words(level: LevelPosterior) -> str:
    if level.posterior is None or level.low is None or level.high is None:
        return term(level.level)
    return f"{term(level.level)} {percent(level.posterior)} {_limits(level.low, level.high)}"


def to_state_words(result: Interpretation) -> Iterator[str]:
    """One question for each positive result of which it was not said in which way."""
    for entry in result.to_state:
        yield say_text(
            "{manoeuvre} was positive: in which way ({ways})? It weighs softly until said",
            manoeuvre=said_side(entry.side, said_label(entry.label)),
            ways=", ".join(map(term, entry.ways)),
        )  # fmt: skip


def meaning_lines(result: Interpretation) -> Iterator[str]:
    """The whole interpretation as lines of text, not yet wrapped."""
    yield say_text("{record}: what the findings may mean (setting: {setting})",
                   record=result.record, setting=result.setting)  # fmt: skip
    yield from (f"! {line}" for line in flag_lines(result.red_flags, result.not_looked_at))
    for warning in result.warnings:
        yield "  " + say_text("caution: {words}", words=warning)
    for side in ("right", "left"):
        if side in result.sides:
            yield from _side_lines(term(side).upper(), result.sides[side].conditions)
    yield from _side_lines(say_text("WHOLE PERSON"), result.whole_person.conditions)
    yield from _difference_lines(result)
    if applied := [term(v.label) for v in result.variants if v.applied]:
        named = "; ".join(dict.fromkeys(applied))
        yield "  " + say_text("normal variants: {names}", names=named)
    if result.next:
        steps = "; ".join(next_words(n) for n in result.next[:4])
        yield "  " + say_text("would tell most next: {words}", words=steps)
    if result.withheld:
        given = dict.fromkeys(e.reason.removeprefix("withheld: ") for e in result.withheld)
        yield "  " + say_text("withheld ({count} items): {reasons}",
                              count=len(result.withheld), reasons="; ".join(given))  # fmt: skip
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
    yield say_text("DIFFERENCES between the sides: {real} of {all} real",
                   real=len(real), all=len(judged))  # fmt: skip
    yield from (f"  {difference.sentence}" for difference in real)


def meaning_text(result: Interpretation) -> str:
    """The whole interpretation as text for the command line, wrapped."""
    import textwrap

    wrapped: list[str] = []
    for line in meaning_lines(result):
        wrapped += textwrap.wrap(
            line, line_width(WIDTH), subsequent_indent="    ", break_long_words=False
        )
    return "\n".join(wrapped)


def _side_lines(title: str, conditions: tuple[ConditionPosterior, ...]) -> Iterator[str]:
    if not conditions:
        return
    yield title
    shown, rest = shown_and_rest(conditions)
    yield from (f"  {condition_words(condition)}" for condition in shown)
    if rest:
        yield "  " + say_text("unlikely: {names}", names=unlikely_words(rest))
    yield from (f"  {words}" for words in not_estimated(conditions))


def unlikely_words(conditions: list[ConditionPosterior]) -> str:
    """Conditions not made more likely: those of 2% or more by name, the rest in one phrase."""
    named = [f"{term(c.label)} {percent(c.estimate)}" for c in conditions if c.estimate >= NAMED]
    others = len(conditions) - len(named)
    if others:
        named.append(
            say_count("{count} other under {limit}%", "{count} others each under {limit}%", others,
                      limit=f"{NAMED * 100:.0f}")
        )  # fmt: skip
    return ", ".join(named)
