"""A validity argument of one page, as a template: what this sitting's figures can say is filled in,
what they cannot is left open with the question that somebody must answer.

Four inferences lead from a mark to a decision: scoring, generalisation, extrapolation, implications
(Kane MT, J Educ Meas 2013;50:1-73; Cook DA and others, Med Educ 2015;49:560-575; from memory).
"""

from __future__ import annotations

import textwrap
from dataclasses import dataclass

from sidewise.teaching.report.answers import board_answers, reliability_of
from sidewise.teaching.report.decisions import methods_sentence, percent_text
from sidewise.teaching.report.letter import WIDTH
from sidewise.teaching.sitting.decision_summary import decision_summary
from sidewise.teaching.sitting.sitting import Sitting
from sidewise.teaching.sitting.view import SAFETY

OPEN = "[to be answered]"


@dataclass(frozen=True, slots=True)
class Inference:
    """One step of the argument: what is claimed, what the figures say, what is open."""

    name: str
    claim: str
    figures: tuple[str, ...]
    questions: tuple[str, ...]


def validity_argument(e: Sitting) -> tuple[Inference, ...]:
    """The four inferences with this sitting's figures; nothing is concluded."""
    return (_scoring(e), _generalisation(e), _extrapolation(e), _implications(e))


def validity_text(e: Sitting) -> str:
    """The page as text."""
    head = (
        f"Validity argument for {e.marks.name}: a template. Use and population: {OPEN}. Decision "
        "to be supported: pass or fail. Written by, on: [to be filled in]."
    )
    parts = [textwrap.fill(head, WIDTH), *(_laid_out(i) for i in validity_argument(e))]
    close = (
        "The weakest step bounds the whole. What would change the decision, and who looks again "
        f"when: {OPEN}."
    )
    return "\n\n".join([*parts, textwrap.fill(close, WIDTH), textwrap.fill(SAFETY, WIDTH)]) + "\n"


def _laid_out(i: Inference) -> str:
    lines = [textwrap.fill(f"{i.name.upper()}. {i.claim}", WIDTH)]
    lines += [_bullet("-", text) for text in i.figures if text]
    lines += [_bullet("?", f"{text} {OPEN}") for text in i.questions]
    return "\n".join(lines)


def _bullet(sign: str, text: str) -> str:
    return textwrap.fill(text, WIDTH, initial_indent=f"  {sign} ", subsequent_indent="    ")


def _short(e: Sitting, question: str) -> str:
    found = next(a for a in board_answers(e) if a.question == question)
    return f"{question} {found.short}."


def _scoring(e: Sitting) -> Inference:
    blank = sum(s.missing for s in e.stations)
    disagree = sum(s.two_by_two.disagree for s in e.stations if s.two_by_two is not None)
    rated = sum(sum(s.grades) for s in e.stations)
    f = e.fairness
    return Inference(
        "Scoring", "What was seen at a station became the right mark.",
        (
            _short(e, "Is an examiner severe?"),
            _short(e, "How much luck is there in the examiners met?"),
            f.halo.sentence if f.halo is not None else "",
            f.spread.sentence if f.spread is not None else "",
            f"Marks and global rating would decide unlike in {disagree:,} of {rated:,} "
            f"performances; {blank:,} performances have no score.",
        ),
        ("Who wrote the sheets, from what? How were examiners trained? Who checked the entries?",),
    )  # fmt: skip


def _generalisation(e: Sitting) -> Inference:
    found = reliability_of(e)
    domains = f.reliability.text() if (f := e.fairness.domains) is not None else ""
    return Inference(
        "Generalisation", "Other stations and examiners of this kind would give the same result.",
        (
            f"Reliability of the total {found.text()} over {len(e.table.stations)} stations, "
            f"standard error of measurement {e.rule.sem:.1f} points of 100."
            if found.known else "Reliability could not be computed.",
            f"With domains kept apart {domains}." if domains else "",
            _short(e, "Which station must go?"),
        ),
        ("Does the blueprint hold what the examination is meant to test? What was left out?",),
    )  # fmt: skip


def _extrapolation(e: Sitting) -> Inference:
    groups = e.fairness.groups
    gaps = [] if groups is None else [g.station for g in groups.stations
                                      if g.verdict == "look at this station"]  # fmt: skip
    compared = "" if groups is None else (
        f"Groups of students: stations to look at: {', '.join(sorted(set(gaps)))}." if gaps
        else "At no station does a group fall out of line with its own marks elsewhere."
    )  # fmt: skip
    return Inference(
        "Extrapolation", "Who does well here does well with patients.",
        ("Nothing in a table of marks shows this.", compared),
        (
            "How do marks go with later supervised work, and with other examinations?",
            "Do those with more training do better? How like practice are the stations?",
        ),
    )  # fmt: skip


def _implications(e: Sitting) -> Inference:
    found = decision_summary(e)
    wrong = found.expected_wrong
    sure = "" if wrong != wrong else (
        f"About {wrong:.1f} of these decisions are expected to be other than at the true scores; "
        f"{len(e.near):,} students stand near the border"
        + (f", the least sure at {percent_text(e.near[0].other)}." if e.near else ".")
    )  # fmt: skip
    return Inference(
        "Implications", "Acting on the decision does more good than harm.",
        (found.headline, _short(e, "Where does the pass mark stand?"), sure, methods_sentence(e)),
        (
            "What happens to who fails, and to patients if who should fail passes?",
            "Who set the standard, by what method, why? What did the last sitting's decisions do?",
        ),
    )  # fmt: skip
