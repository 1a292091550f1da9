"""One sitting's results as plain text and markup: what a page shows and what can be downloaded.

Nothing is left to be worked out by whoever shows it, and it can be handed from one process to
another as JSON.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from sidewise.errors import UserError
from sidewise.ground.tables import safe_cell
from sidewise.teaching.report.answers import board_answers
from sidewise.teaching.report.as_json import json_text, sitting_data
from sidewise.teaching.report.decisions import (
    HEADS,
    HOW_SURE,
    decision_cells,
    decision_paragraphs,
    listed_rows,
)
from sidewise.teaching.report.letters import letters
from sidewise.teaching.report.page import report_body, report_html
from sidewise.teaching.sitting.decision_summary import decision_summary
from sidewise.teaching.sitting.moderation import moderation_log
from sidewise.teaching.sitting.options import further_stations
from sidewise.teaching.sitting.request import request_from_words
from sidewise.teaching.sitting.sitting import Sitting
from sidewise.teaching.sitting.understood import Told, told_of
from sidewise.teaching.tables.sheet_grid import Grid


@dataclass(frozen=True, slots=True)
class PrintedLetter:
    """A letter: to examiners, stations or students; whose; under which file name; its text."""

    kind: str
    code: str
    file: str
    text: str


@dataclass(frozen=True, slots=True)
class ShortAnswer:
    """One question of the board with its short answer and the sentence behind it."""

    question: str
    short: str
    sentence: str


@dataclass(frozen=True, slots=True)
class PrintedChange:
    """A student whose decision is another than before; "" where there was or is none."""

    student: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class PrintedSitting:
    """Everything that is shown of one sitting under one set of answers.

    `rules` names every rule in force; `decisions` are rows under `heads`, `looked_at` those who did
    not simply pass. `markup` is the report to be put into a page, `page` the same as a page of its
    own. `letters_refused` says why there are none. `changes` and `changed` compare with what held
    before; both empty where nothing did.
    """

    headline: str
    rules: tuple[str, ...]
    answers: tuple[ShortAnswer, ...]
    paragraphs: tuple[str, ...]
    how_sure: str
    heads: tuple[str, ...]
    decisions: tuple[tuple[str, ...], ...]
    looked_at: tuple[tuple[str, ...], ...]
    stations: tuple[str, ...]
    markup: str
    page: str
    data: str
    decisions_csv: str
    letters: tuple[PrintedLetter, ...]
    letters_refused: tuple[Told, ...]
    changes: tuple[str, ...]
    changed: tuple[PrintedChange, ...]
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class HeldBefore:
    """The table and the answers that held before those that are printed, and who changed them."""

    grid: Grid
    words: dict[str, Any]
    by: str = ""


def print_sitting(
    grid: Grid, words: Mapping[str, Any], before: HeldBefore | None = None, rests_on: str = "",
    made: date | None = None,
) -> PrintedSitting:  # fmt: skip
    """Analyse a table under these answers and print it all. UserError as of the analysis."""
    asked = request_from_words(words)
    recall = further_stations(asked.recall)
    e = asked.analysed(grid)
    summary = decision_summary(e, recall)
    kept, refused = _letters(e)
    sentences, changed = _changes(e, before)
    return PrintedSitting(
        headline=summary.headline,
        rules=summary.rules,
        answers=tuple(ShortAnswer(a.question, a.short, a.sentence) for a in board_answers(e)),
        paragraphs=tuple(decision_paragraphs(e, recall)),
        how_sure=HOW_SURE,
        heads=HEADS,
        decisions=tuple(tuple(decision_cells(r)) for r in e.results),
        looked_at=tuple(tuple(row) for row in listed_rows(e)),
        stations=tuple(e.table.stations),
        markup=report_body(e, made, rests_on),
        page=report_html(e, made, rests_on),
        data=json_text(sitting_data(e, recall)),
        decisions_csv=decisions_csv(e),
        letters=kept,
        letters_refused=refused,
        changes=sentences,
        changed=changed,
        warnings=e.warnings,
    )


def _letters(e: Sitting) -> tuple[tuple[PrintedLetter, ...], tuple[Told, ...]]:
    found = tuple(PrintedLetter(one.kind, one.code, one.file, one.text) for one in letters(e))
    places = [(one.kind, one.file) for one in found]
    twice = [one.code for one in found if places.count((one.kind, one.file)) > 1]
    if twice:
        error = UserError("letters", ", ".join(twice[:6]), "codes that differ in more than signs",
                          "Two codes give one file name: change one.")  # fmt: skip
        return (), told_of(error)
    return found, ()


def _changes(
    e: Sitting, before: HeldBefore | None
) -> tuple[tuple[str, ...], tuple[PrintedChange, ...]]:
    """What is another than under the answers before; a table that had none is said."""
    if before is None:
        return (), ()
    try:
        old = request_from_words(before.words).analysed(before.grid)
    except UserError as error:
        return (f"What held before could not be analysed: {error.message}",), ()
    log = moderation_log(old, e, before.by)
    now = {r.student: str(r.decision) for r in e.results}
    then = {r.student: str(r.decision) for r in old.results}
    pairs = [(s, then.get(s, ""), now.get(s, "")) for s in dict.fromkeys([*then, *now])]
    moved = tuple(PrintedChange(s, a, b) for s, a, b in pairs if a != b)
    return (log.sentences[-1],), moved


def decisions_csv(e: Sitting) -> str:
    """Every student's decision under `HEADS`, safe to be opened in a spreadsheet."""
    out = io.StringIO()
    write = csv.writer(out, lineterminator="\n")
    write.writerow(HEADS)
    for r in e.results:
        write.writerow([safe_cell(cell) for cell in decision_cells(r)])
    return out.getvalue()
