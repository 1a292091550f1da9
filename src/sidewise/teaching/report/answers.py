"""The questions a board asks, each answered in one plain sentence with its basis.

Nothing is claimed beyond what the figures carry: an answer is yes or no only when the whole
interval says so; else it is "not shown".
"""

from __future__ import annotations

from dataclasses import dataclass

from sidewise.ground.estimate import Estimate
from sidewise.ground.interval import Z95
from sidewise.teaching.pass_marks.decisions import StudentResult
from sidewise.teaching.reliability.generalizability import examiner_luck
from sidewise.teaching.report.decisions import (
    HOW_SURE,
    minimum_sentence,
    overall_sentence,
    percent_text,
)
from sidewise.teaching.severity.mark_severity import SMALLEST_POINTS, MarkSeverity, MarkShift
from sidewise.teaching.sitting.cautions import MOST_NAMES, listed_names
from sidewise.teaching.sitting.decision_summary import decision_summary
from sidewise.teaching.sitting.sitting import Sitting
from sidewise.teaching.thresholds import quoted_threshold

# 95% of the differences between two totals lie within so many standard deviations of one.
DIFFERENCE = Z95 * 2**0.5


@dataclass(frozen=True, slots=True)
class BoardAnswer:
    """A question, a short answer, one sentence, and what it rests on."""

    question: str
    short: str
    sentence: str
    basis: tuple[str, ...]


def board_answers(e: Sitting) -> tuple[BoardAnswer, ...]:
    """The answers in the order in which they are read."""
    return (
        _decided(e), _unsure(e), _reliable(e), _station(e), _pass_mark(e), _severe(e), _luck(e),
    )  # fmt: skip


def reliability_of(e: Sitting) -> Estimate:
    """The coefficient that answers for the examination: relative, else alpha."""
    r = e.fairness.reliability
    if r is None:
        return e.consistency.alpha
    if r.relative_interval is None:
        return Estimate(r.relative, method=r.estimator)
    low, high = r.relative_interval.low, r.relative_interval.high
    return Estimate(r.relative, low, high, method=f"{r.estimator}, {r.relative_interval.method}")


def _decided(e: Sitting) -> BoardAnswer:
    found = decision_summary(e)
    counts = found.counts
    short = f"{counts['pass']:,} passed, {counts['fail']:,} failed"
    short += f", {counts['held']:,} held" if counts["held"] else ""
    none = counts["incomplete"] + counts["no pass mark"]
    short += f", {none:,} without a decision" if none else ""
    minimum = minimum_sentence(found.minimum, len(e.table.stations), e.rule.stations)
    return BoardAnswer(
        "Who passed, and by which rules?", short,
        f"{found.headline} {overall_sentence(found)}{_moderated(e)}", (HOW_SURE, minimum),
    )  # fmt: skip


def _moderated(e: Sitting) -> str:
    """What was left out before the decisions belongs beside them."""
    return "" if e.moderation is None else f" {' '.join(e.moderation.sentences)}"


def _reliable(e: Sitting) -> BoardAnswer:
    question, wanted = "Is the examination reliable enough?", e.options.wanted
    found = reliability_of(e)
    if not found.known or found.low is None or found.high is None:
        return BoardAnswer(
            question, "Not known", "Reliability could not be computed.", (found.note,)
        )
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
    return BoardAnswer(question, short, f"{sentence}{_more_stations(e)}", _reliable_basis(e, found))


def _more_stations(e: Sitting) -> str:
    r = e.fairness.reliability
    have, wanted = len(e.table.stations), e.options.wanted
    if r is None or r.relative >= wanted:
        return ""
    if r.needed is None:
        return f" With examiners and sessions like these no number of stations reaches {wanted:g}."
    return f" At this rate {r.needed} stations, not {have}, would be needed for {wanted:g}."


def _reliable_basis(e: Sitting, found: Estimate) -> tuple[str, ...]:
    lines = [
        f"Coefficient: {found.method}; students are compared over the same stations, whose "
        "difficulty moves marks and pass mark alike.",
        f"Alpha over stations {e.consistency.alpha.text()}.",
        f"Standard error of measurement of a total: {e.rule.sem:.1f} points of 100 "
        f"({e.sem_method}).",
        quoted_threshold("reliability_wanted").basis(),
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


def _station(e: Sitting) -> BoardAnswer:
    question = "Which station must go?"
    basis = [
        quoted_threshold("stands_apart").basis(),
        "The figures cannot say why: look at the sheet.",
    ]
    doubtful = [s for s in e.stations if len(s.signs) == 2]
    if doubtful:
        basis.append(f"Two of the three signs at: {', '.join(s.station for s in doubtful)}.")
    if not e.apart:
        sentence = "No station shows all the signs of measuring something else."
        if doubtful:
            names = ", ".join(s.station for s in doubtful)
            sentence += f" Look at {names}: two of the three signs are there."
        return BoardAnswer(question, "None is shown to", sentence, tuple(basis))
    names = ", ".join(s.station for s in e.apart)
    parts = [_apart(e, s.station) for s in e.apart]
    return BoardAnswer(question, names, " ".join(parts), (*basis, *_signs(e)))


def _apart(e: Sitting, station: str) -> str:
    w = next(w for w in e.without if w.station == station)
    many, gone = len(e.table.students), ""
    if w.mark == w.mark and e.rule.applied == e.rule.applied:
        gone = f", the pass mark from {e.rule.applied:.1f} to {w.mark:.1f}"
    changes = (
        f"the decision on {listed_names(w.changed)} would be the other" if w.changed
        else "no decision would change"
    )  # fmt: skip
    return (
        f"As far as {many} students can show, {station} agrees neither with the other "
        "stations nor with the examiners' global rating. Without it alpha would go from "
        f"{e.consistency.alpha.value:.2f} to {w.alpha:.2f}{gone}, and {changes}."
    )


def _signs(e: Sitting) -> list[str]:
    return [f"{s.station}: {'; '.join(s.signs)}." for s in e.apart]


def _pass_mark(e: Sitting) -> BoardAnswer:
    question, cut, added = "Where does the pass mark stand?", e.deciding.cut, e.rule.added
    if not cut.known:
        return BoardAnswer(
            question, "Not known", f"No pass mark by {e.deciding.method}: {cut.note}.", ()
        )
    low, high = cut.low, cut.high
    sentence = f"By {e.deciding.method} it is {cut.value + added:.1f} percent"
    if added:
        sentence += f", {added:.1f} of it for the error of measurement"
    if low is None or high is None or low != low or high != high:
        return BoardAnswer(question, f"{cut.value + added:.1f}", f"{sentence}; no interval.", ())
    low, high = low + added, high + added
    inside = tuple(r.student for r in e.results if low <= r.total <= high)
    within = f"{len(inside)} students have" if len(inside) != 1 else "one student has"
    sentence += f"; another such group of students could have put it there, and {within} a total"
    return BoardAnswer(
        question, f"Between {low:.1f} and {high:.1f}",
        f"{sentence} inside that interval{f' ({listed_names(inside)})' if inside else ''}."
        f"{_extrapolated(e)}",
        _pass_mark_basis(e),
    )  # fmt: skip


def _pass_mark_basis(e: Sitting) -> tuple[str, ...]:
    others = [
        f"{p.method} {p.cut.text(1)}" for p in e.pass_marks
        if p.method != e.options.method and p.cut.known
    ]  # fmt: skip
    beside = f"Beside it: {'; '.join(others)}." if others else ""
    return (
        *(w for s in e.stations for w in _station_words(s.station, s.warnings)),
        f"95% interval: {e.deciding.cut.method}. It takes the ratings as they were given and does "
        "not know whether examiners agree on what borderline means.",
        beside,
    )


def _station_words(station: str, warnings: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(f"{station}: {w}" for w in warnings)


def _extrapolated(e: Sitting) -> str:
    """Stations whose mark lies below every rating given."""
    names = [s.station for s in e.stations if s.line.cut.known and not s.line.at_or_below]
    if not names or e.options.method != "borderline regression":
        return ""
    return (
        f" At {listed_names(names)} nobody was rated borderline or lower: there the mark is an "
        "extrapolation."
    )


def _unsure(e: Sitting) -> BoardAnswer:
    question = "Whose result is unsure?"
    held = tuple(r for r in e.results if r.decision == "held")
    incomplete = tuple(r.student for r in e.results if r.decision == "incomplete")
    parts = []
    if e.near:
        parts.append(
            "Near the border, with the decision by all rules and the chance that the other is "
            f"right: {listed_names([_why_near(r) for r in e.near])}."
        )
    if held:
        each = [f"{r.student} ({r.reasons[0]})" for r in held]
        parts.append(f"Held for another look by the board: {listed_names(each)}.")
    if incomplete:
        parts.append(f"Marks missing, no decision: {listed_names(incomplete)}.")
    if not parts:
        none = (
            "Nobody is near the border." if e.rule.mark == e.rule.mark else "No pass mark was set."
        )
        short = "Nobody" if "Nobody" in none else "Not known"
        return BoardAnswer(question, short, none, _near_basis(e))
    names = tuple(dict.fromkeys([r.student for r in (*e.near, *held)] + list(incomplete)))
    short = ", ".join(names) if len(names) <= 5 else f"{len(names):,} students"
    return BoardAnswer(question, short, " ".join(parts), _near_basis(e))


def _why_near(r: StudentResult) -> str:
    """The student, the decision, the rule that failed when it was not the total, the chance."""
    why = f" by stations, {r.stations_passed} passed" if r.by_marks != r.by_rules else ""
    return f"{r.student} ({r.decision}{why}, {percent_text(r.other)})"


def _near_basis(e: Sitting) -> tuple[str, ...]:
    return (
        quoted_threshold("near_the_mark").basis(),
        f"Pass mark {e.rule.applied:.1f} (its standard error {e.rule.mark_se:.1f}); standard "
        f"error of measurement {e.rule.sem:.1f}. {HOW_SURE}",
    )


def _severe(e: Sitting) -> BoardAnswer:
    question, s = "Is an examiner severe?", e.fairness.severity
    if s is None:
        return BoardAnswer(question, "Not known", "Severity was not computed.", ())
    basis = (
        f"Named on {s.named_on}. {s.rule}",
        "Marks adjusted for the examiner are shown beside the marks, held against the same pass "
        "mark, and decide nothing.",
        *_recordings(e),
    )
    if not s.connected:
        return BoardAnswer(question, "Cannot be told", s.sentence, basis)
    points = {x.examiner: abs(x.points) for x in s.examiners}
    named = [f"{name}, by {points[name]:.0f} points" for name in s.severe]
    named += [f"{name} (lenient, by {points[name]:.0f} points)" for name in s.lenient]
    sentence = f"{s.sentence}{_far_unnamed(s)}{_adjusted(e)}"
    return BoardAnswer(question, "; ".join(named) or _nobody(e), sentence, basis)


def _recordings(e: Sitting) -> tuple[str, ...]:
    many = e.fairness.recorded
    if not many:
        return ()
    return (
        f"{many:,} recorded performances that several examiners marked tell them apart; they count "
        "for nothing else.",
    )


def _flipped(e: Sitting) -> tuple[str, ...]:
    """Whose result adjusted marks would change."""
    return tuple(r.student for r in e.results if r.adjusted_decision not in (None, r.by_marks))


def _nobody(e: Sitting) -> str:
    flips = len(_flipped(e))
    if not flips:
        return "Nobody stands out"
    return f"Nobody stands out; {flips:,} decision{'s' if flips > 1 else ''} would still change"


def _far_unnamed(s: MarkSeverity) -> str:
    """Examiners who surely lie far from the average though the rule for all names none of them."""
    far = [x for x in s.examiners if x.verdict == "ordinary" and _surely_far(x)]
    if not far:
        return ""
    most = max(far, key=lambda x: abs(x.points))
    way = "fewer" if most.points > 0 else "more"
    low, high = sorted((abs(most.low), abs(most.high)))
    return (
        f" Not named, because the others spread as widely, but with intervals beyond "
        f"{SMALLEST_POINTS:g} points: {len(far):,} of {len(s.examiners):,} examiners; "
        f"{most.examiner} gave {abs(most.points):.1f} points {way} ({low:.1f} to {high:.1f})."
    )


def _surely_far(x: MarkShift) -> bool:
    return x.low >= SMALLEST_POINTS or x.high <= -SMALLEST_POINTS


def _adjusted(e: Sitting) -> str:
    changed = _flipped(e)
    if not changed:
        return " With marks adjusted no decision by total would change."
    many = f"{len(changed):,} decisions: " if len(changed) > MOST_NAMES else ""
    return f" With marks adjusted the other decision would fall on {many}{listed_names(changed)}."


def _luck(e: Sitting) -> BoardAnswer:
    """What the examiners met add to or take from a total, in points."""
    question, c = "How much luck is there in the examiners met?", e.fairness.components
    if c is None or "examiner" not in c.components:
        text = "How severe an examiner is cannot be told from how hard the station is here."
        why = c.dropped.get("examiner", "") if c is not None else ""
        return BoardAnswer(question, "Cannot be told", text, (f"Examiner: {why}",) if why else ())
    luck = examiner_luck(c, len(e.table.stations))
    return BoardAnswer(
        question, f"{luck.text(1)} points of 100",
        f"The examiners a student happened to meet move the total by {luck.value:.1f} points "
        f"(standard deviation{_luck_limits(luck)}); two equal students who met others may differ "
        f"by up to {DIFFERENCE * luck.value:.1f} (95%).",
        ("From the variance between examiners, each met at one station. It rests on students "
         "having come to examiners and circuits at random; where each circuit has examiners of "
         "its own, nothing else could tell a severe circuit from a weak one.",),
    )  # fmt: skip


def _luck_limits(luck: Estimate) -> str:
    if luck.low is None or luck.high is None:
        return ""
    return f", 95% {luck.low:.1f} to {luck.high:.1f}"
