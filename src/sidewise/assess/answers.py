"""The questions a board asks, each answered in one plain sentence with its basis.

Nothing is claimed beyond what the figures carry: an answer is yes or no only when the whole
interval says so; else it is "not shown".
"""

from __future__ import annotations

from dataclasses import dataclass

from sidewise.assess.estimate import Estimate
from sidewise.assess.examination import Examination
from sidewise.assess.thresholds import threshold

# More names than this in one sentence are not read; tables have them all.
MOST_NAMES = 12


@dataclass(frozen=True, slots=True)
class Answer:
    """A question, a short answer, one sentence, and what it rests on."""

    question: str
    short: str
    sentence: str
    basis: tuple[str, ...]


def answers(e: Examination) -> tuple[Answer, ...]:
    """The answers in the order in which they are read."""
    return (_reliable(e), _station(e), _pass_mark(e), _unsure(e), _severe(e))


def reliability_of(e: Examination) -> Estimate:
    """The coefficient that answers for the examination: relative, else alpha."""
    r = e.fairness.reliability
    if r is None:
        return e.consistency.alpha
    if r.relative_interval is None:
        return Estimate(r.relative, method=r.estimator)
    low, high = r.relative_interval.low, r.relative_interval.high
    return Estimate(r.relative, low, high, method=f"{r.estimator}, {r.relative_interval.method}")


def _reliable(e: Examination) -> Answer:
    question, wanted = "Is the examination reliable enough?", e.options.wanted
    found = reliability_of(e)
    if not found.known or found.low is None or found.high is None:
        return Answer(question, "Not known", "Reliability could not be computed.", (found.note,))
    if found.low >= wanted:
        short, what = "Yes", f"is at least {wanted:g} even at the low end of its interval"
    elif found.high < wanted:
        short, what = "No", f"is below {wanted:g} even at the high end of its interval"
    else:
        short, what = (
            "Not shown to be",
            f"may be above or below {wanted:g}: the interval holds both",
        )
    sentence = f"The reliability of the total, {found.text()}, {what}."
    return Answer(question, short, f"{sentence}{_more_stations(e)}", _reliable_basis(e, found))


def _more_stations(e: Examination) -> str:
    r = e.fairness.reliability
    have, wanted = len(e.table.stations), e.options.wanted
    if r is None or r.relative >= wanted:
        return ""
    if r.needed is None:
        return f" With examiners and sessions like these no number of stations reaches {wanted:g}."
    return f" At this rate {r.needed} stations, not {have}, would be needed for {wanted:g}."


def _reliable_basis(e: Examination, found: Estimate) -> tuple[str, ...]:
    lines = [
        f"Coefficient: {found.method}; students are compared over the same stations, whose "
        "difficulty moves marks and pass mark alike.",
        f"Alpha over stations {e.consistency.alpha.text()}.",
        f"Standard error of measurement of a total: {e.rule.sem:.1f} points of 100 "
        f"({e.sem_method}).",
        threshold("reliability_wanted").basis(),
    ]
    r = e.fairness.reliability
    if r is not None:
        lines.insert(1, f"Absolute coefficient, stations taken as a sample: {r.absolute:.2f}.")
        if r.decision is not None:
            lines.append(
                f"On a second such examination about {100 * r.decision.consistency:.0f}% of the "
                "pass-fail decisions would be the same (normal marks assumed; many students far "
                "from the mark make this high)."
            )
    return tuple(lines)


def _station(e: Examination) -> Answer:
    question = "Which station must go?"
    basis = [threshold("stands_apart").basis(), "The figures cannot say why: look at the sheet."]
    doubtful = [s for s in e.stations if len(s.signs) == 2]
    if doubtful:
        basis.append(f"Two of the three signs at: {', '.join(s.station for s in doubtful)}.")
    if not e.apart:
        sentence = "No station shows all the signs of measuring something else."
        if doubtful:
            names = ", ".join(s.station for s in doubtful)
            sentence += f" Look at {names}: two of the three signs are there."
        return Answer(question, "None is shown to", sentence, tuple(basis))
    names = ", ".join(s.station for s in e.apart)
    parts = [_apart(e, s.station) for s in e.apart]
    return Answer(question, names, " ".join(parts), (*basis, *_signs(e)))


def _apart(e: Examination, station: str) -> str:
    w = next(w for w in e.without if w.station == station)
    many, gone = len(e.table.students), ""
    if w.mark == w.mark and e.rule.applied == e.rule.applied:
        gone = f", the pass mark from {e.rule.applied:.1f} to {w.mark:.1f}"
    changes = (
        f"the decision on {_listed(w.changed)} would be the other" if w.changed
        else "no decision would change"
    )  # fmt: skip
    return (
        f"As far as {many} students can show, {station} agrees neither with the other "
        "stations nor with the examiners' global rating. Without it alpha would go from "
        f"{e.consistency.alpha.value:.2f} to {w.alpha:.2f}{gone}, and {changes}."
    )


def _listed(names: tuple[str, ...]) -> str:
    """Names in a sentence; a long list is cut and counted."""
    shown = names if len(names) <= MOST_NAMES else names[: MOST_NAMES - 1]
    more = f" and {len(names) - len(shown):,} more" if len(shown) < len(names) else ""
    return f"{', '.join(shown)}{more}"


def _signs(e: Examination) -> list[str]:
    return [f"{s.station}: {'; '.join(s.signs)}." for s in e.apart]


def _pass_mark(e: Examination) -> Answer:
    question, cut, added = "Where does the pass mark stand?", e.deciding.cut, e.rule.added
    if not cut.known:
        return Answer(
            question, "Not known", f"No pass mark by {e.deciding.method}: {cut.note}.", ()
        )
    low, high = cut.low, cut.high
    sentence = f"By {e.deciding.method} it is {cut.value + added:.1f} percent"
    if added:
        sentence += f", {added:.1f} of it for the error of measurement"
    if low is None or high is None or low != low or high != high:
        return Answer(question, f"{cut.value + added:.1f}", f"{sentence}; no interval.", ())
    low, high = low + added, high + added
    inside = tuple(r.student for r in e.results if low <= r.total <= high)
    within = f"{len(inside)} students have" if len(inside) != 1 else "one student has"
    sentence += f"; another such group of students could have put it there, and {within} a total"
    return Answer(
        question, f"Between {low:.1f} and {high:.1f}",
        f"{sentence} inside that interval{f' ({_listed(inside)})' if inside else ''}.",
        _pass_mark_basis(e),
    )  # fmt: skip


def _pass_mark_basis(e: Examination) -> tuple[str, ...]:
    others = [
        f"{p.method} {p.cut.text(1)}" for p in e.pass_marks
        if p.method != e.options.method and p.cut.known
    ]  # fmt: skip
    beside = f"Beside it: {'; '.join(others)}." if others else ""
    return (
        f"95% interval: {e.deciding.cut.method}. It takes the ratings as they were given and does "
        "not know whether examiners agree on what borderline means.",
        beside,
    )


def _unsure(e: Examination) -> Answer:
    question = "Whose result is unsure?"
    held = tuple(r.student for r in e.results if r.decision == "held")
    incomplete = tuple(r.student for r in e.results if r.decision == "incomplete")
    parts = []
    if e.near:
        each = tuple(f"{r.student} ({r.by_marks}, {100 * r.other:.0f}%)" for r in e.near)
        parts.append(
            "Near the mark, with the decision by marks and the probability that the other would "
            f"be right: {_listed(each)}."
        )
    if held:
        parts.append(f"Critical error, for the board: {_listed(held)}.")
    if incomplete:
        parts.append(f"Marks missing, no decision: {_listed(incomplete)}.")
    if not parts:
        none = "Nobody is near the mark." if e.rule.mark == e.rule.mark else "No pass mark was set."
        return Answer(question, "Nobody" if "Nobody" in none else "Not known", none, _near_basis(e))
    names = tuple(dict.fromkeys([*(r.student for r in e.near), *held, *incomplete]))
    short = ", ".join(names) if len(names) <= 5 else f"{len(names):,} students"
    return Answer(question, short, " ".join(parts), _near_basis(e))


def _near_basis(e: Examination) -> tuple[str, ...]:
    return (
        threshold("near_the_mark").basis(),
        f"Pass mark {e.rule.applied:.1f} (its standard error {e.rule.mark_se:.1f}); standard "
        f"error of measurement {e.rule.sem:.1f}; normal errors, no belief about a student "
        "beforehand.",
    )


def _severe(e: Examination) -> Answer:
    question, s = "Is an examiner severe?", e.fairness.severity
    if s is None:
        return Answer(question, "Not known", "Severity was not computed.", ())
    basis = (
        f"Named on {s.named_on}. {s.rule}",
        "Marks adjusted for the examiner are shown beside the marks, held against the same pass "
        "mark, and decide nothing.",
    )
    if not s.connected:
        return Answer(question, "Cannot be told", s.sentence, basis)
    points = {x.examiner: abs(x.points) for x in s.examiners}
    named = [f"{name}, by {points[name]:.0f} points" for name in s.severe]
    named += [f"{name} (lenient, by {points[name]:.0f} points)" for name in s.lenient]
    short = "; ".join(named) or "Nobody is shown to be"
    return Answer(question, short, f"{s.sentence}{_adjusted(e) if named else ''}", basis)


def _adjusted(e: Examination) -> str:
    """Whose result adjusted marks would change."""
    changed = tuple(r.student for r in e.results if r.adjusted_decision not in (None, r.by_marks))
    if not changed:
        return " With marks adjusted no decision would change."
    return f" With marks adjusted the other decision would fall on {_listed(changed)}."
