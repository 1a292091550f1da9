"""What it may mean, in words: flags, probabilities with their basis, what would tell most next."""

from __future__ import annotations

from collections.abc import Iterator
from math import ceil, floor

from sidewise.reason.result import (
    Because,
    ConditionPosterior,
    Interpretation,
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


def percent(probability: float) -> str:
    """A probability as a whole percentage; never 0 or 100, which would claim certainty."""
    if probability < 0.01:
        return "under 1%"
    return "over 99%" if probability > 0.99 else f"{probability * 100:.0f}%"


def with_interval(condition: ConditionPosterior) -> str:
    """Post-test probability with its interval: "62% (35 to 84)"."""
    if condition.low is None or condition.high is None:
        return percent(condition.posterior)
    # Rounded outwards, so that an interval never looks narrower than it is.
    low, high = floor(condition.low * 100), ceil(condition.high * 100)
    return f"{percent(condition.posterior)} ({low} to {high})"


def effect_words(because: Because) -> str:
    """A finding and which way it moved the odds, with how far its basis can be trusted."""
    factor = 2.718281828459045 ** abs(because.effect)
    way = "raises" if because.effect > 0 else "lowers"
    tail = "" if because.leans_on == "studies" else f", {because.leans_on}"
    little = ", tells little" if because.tells_little else ""
    side = f"{because.side} " if because.side in ("left", "right") else ""
    return f"{side}{because.label} {because.found} ({way} the odds x{factor:.1f}{tail}{little})"


def together_words(together: Together) -> str:
    """What findings of one mechanism did together, with how many of them were there."""
    factor = 2.718281828459045 ** abs(together.effect)
    way = "raise" if together.effect > 0 else "lower"
    side = f"{together.side} " if together.side in ("left", "right") else ""
    count = f"{together.found} of {len(together.readings)} found"
    return f"{side}{together.label} ({count}: together they {way} the odds x{factor:.1f})"


def reasons(condition: ConditionPosterior) -> list[str]:
    """What counted most: a mechanism as a whole where several findings share it, else one."""
    words: list[tuple[float, str]] = []
    covered: set[tuple[str, str]] = set()
    for group in condition.together:
        words.append((abs(group.effect), together_words(group)))
        covered |= {(reading, group.side) for reading in group.readings}
    for because in condition.because:
        if (because.reading, because.side) not in covered:
            words.append((abs(because.effect), effect_words(because)))
    words.sort(key=lambda entry: -entry[0])
    return [text for size, text in words if size >= WORTH_SAYING][:EFFECTS]


def condition_words(condition: ConditionPosterior) -> str:
    """One condition: probability, where it came from, and the findings that counted most."""
    text = f"{condition.label} {with_interval(condition)}, from {percent(condition.prior)}"
    told = reasons(condition)
    if told:
        return f"{text}, because: {'; '.join(told)}"
    return f"{text}; no finding counts for much"


def shown_and_rest(
    conditions: tuple[ConditionPosterior, ...],
) -> tuple[list[ConditionPosterior], list[ConditionPosterior]]:
    """Conditions worth a line of their own, and those that are unlikely now, in their order."""
    shown: list[ConditionPosterior] = []
    rest: list[ConditionPosterior] = []
    for condition in conditions:
        (shown if condition.posterior >= SHOWN else rest).append(condition)
    return shown, rest


def flag_lines(flags: tuple[RedFlag, ...]) -> Iterator[str]:
    """Flags raised, each with what to do; then one line of what could not be excluded."""
    for flag in flags:
        if flag.status == "raised":
            yield f"RAISED ({flag.urgency}): {flag.label}. Suspect {flag.suspect}."
            yield f"  because: {'; '.join(flag.because)}"
            yield f"  do: {flag.do}"
    open_flags = [flag for flag in flags if flag.status == "not excluded"]
    if open_flags:
        missing = dict.fromkeys(word for flag in open_flags for word in flag.missing)
        yield f"NOT EXCLUDED: {', '.join(flag.label for flag in open_flags)}."
        yield f"  not asked or not examined: {', '.join(missing)}"


def next_words(entry: Next) -> str:
    """An item that would tell more, what it tells and where one stands for it."""
    side = f"{entry.side} " if entry.side in ("left", "right") else ""
    if entry.screens_flag:
        tells = f"screens: {entry.screens_flag}"
    elif entry.bits is None:
        tells = ""
    else:
        tells = f"{entry.bits:.2f} bits in {entry.minutes * 60:.0f} s"
    return f"{side}{entry.label}" + (f" ({tells})" if tells else "")


def meaning_lines(result: Interpretation) -> Iterator[str]:
    """The whole interpretation as lines of text, not yet wrapped."""
    yield f"{result.record}: what the findings may mean (setting: {result.setting})"
    yield from (f"! {line}" for line in flag_lines(result.red_flags))
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


def unlikely_words(conditions: list[ConditionPosterior]) -> str:
    """Conditions not made more likely: those of 2% or more by name, the rest in one phrase."""
    named = [f"{c.label} {percent(c.posterior)}" for c in conditions if c.posterior >= NAMED]
    others = len(conditions) - len(named)
    if others:
        named.append(f"{others} others each under {NAMED * 100:.0f}%")
    return ", ".join(named)
