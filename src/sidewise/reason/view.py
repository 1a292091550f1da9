"""An interpretation in a line, in tables and in a notebook: flags first, whatever is asked for."""

from __future__ import annotations

from collections.abc import Iterator

from sidewise.ground.result_view import JOIN, Table, TableRow, View, field_table
from sidewise.reason.result import ConditionPosterior, Interpretation

CONDITIONS = (
    "record", "side", "condition", "label", "prior", "posterior", "low", "high", "findings",
    "flags_raised", "flags_not_excluded",
)  # fmt: skip
FLAGS = ("flag", "label", "status", "urgency", "suspect", "because", "missing", "do")
DIFFERENCES = (
    "item", "mode", "label", "left", "right", "difference", "threshold", "unit", "real",
    "probability", "sentence", "cautions",
)  # fmt: skip
NORMS = ("item", "mode", "side", "label", "value", "unit", "mean", "sd", "z", "centile", "cautions")
NEXT = ("item", "side", "label", "bits", "minutes", "soreness", "screens_flag")
NOT_DONE = ("item", "side", "label", "reason", "essential")


def interpretation_view(result: Interpretation) -> View:
    """The view of an interpretation."""
    return View(
        headline=_headline(result),
        tables={
            "conditions": Table(CONDITIONS, lambda: list(_condition_rows(result))),
            "red_flags": field_table(FLAGS, result.red_flags),
            "differences": field_table(DIFFERENCES, result.differences),
            "norms": field_table(NORMS, result.norms),
            "next": field_table(NEXT, result.next),
            "not_examined": field_table(NOT_DONE, (*result.not_examined, *result.unable,
                                                   *result.withheld)),
        },
        alerts=tuple(_alerts(result)),
        cautions=(*result.warnings, *result.cautions),
    )  # fmt: skip


def _labels(result: Interpretation, status: str) -> str:
    return JOIN.join(flag.label for flag in result.red_flags if flag.status == status)


def _headline(result: Interpretation) -> str:
    raised = _labels(result, "raised")
    # One line has room for the open flags that something speaks for; the frame has them all.
    open_ones = (f for f in result.red_flags if f.status == "not excluded" and f.called_for)
    still = JOIN.join(flag.label for flag in open_ones)
    flags = f"RAISED: {raised}" if raised else "no flag raised"
    some = [one for _, one in conditions_of(result) if one.posterior is not None]
    likely = max(some, key=lambda one: one.estimate, default=None)
    parts = [flags, f"not excluded: {still}" if still else "", _likely_words(likely)]
    return f"{result.record}, {result.setting}: {'. '.join(part for part in parts if part)}"


def _likely_words(likely: ConditionPosterior | None) -> str:
    if likely is None:
        return "no probability shown"
    interval = "" if likely.low is None else f" ({likely.low:.2f} to {likely.high:.2f})"
    where = f"{likely.side} " if likely.side else ""
    return f"most probable: {where}{likely.label} {likely.estimate:.2f}{interval}"


def _alerts(result: Interpretation) -> Iterator[str]:
    for flag in result.red_flags:
        if flag.status == "raised":
            yield f"RAISED ({flag.urgency}): {flag.label}. Suspect {flag.suspect}. {flag.do}"
    if still := _labels(result, "not excluded"):
        yield f"Not excluded by what was asked and examined: {still}."
    open_items = dict.fromkeys(one.label for one in result.not_examined if one.essential)
    if open_items:
        yield f"Not examined (essential): {', '.join(open_items)}."


def conditions_of(result: Interpretation) -> Iterator[tuple[str, ConditionPosterior]]:
    """Every condition with its side; "person" for those of the whole person."""
    for side, found in result.sides.items():
        yield from ((side, one) for one in found.conditions)
    yield from (("person", one) for one in result.whole_person.conditions)


def _condition_rows(result: Interpretation) -> Iterator[TableRow]:
    # A probability never stands in a row without the flags of its record.
    flags = {"flags_raised": _labels(result, "raised"),
             "flags_not_excluded": _labels(result, "not excluded")}  # fmt: skip
    for side, one in conditions_of(result):
        yield {
            "record": result.record,
            "side": side,
            "condition": one.condition,
            "label": one.label,
            "prior": one.prior,
            "posterior": one.posterior,
            "low": one.low,
            "high": one.high,
            "findings": len(one.because),
            **flags,
        }
