"""What a report must not get wrong: an example file for each point, read as a board would."""

from __future__ import annotations

import json
from functools import cache
from itertools import pairwise

import numpy as np
import pytest
from typer.testing import CliRunner

from sidewise.cli import app
from sidewise.errors import UserError, UserErrors
from sidewise.ground.agreement.categories import rater_agreement
from sidewise.teaching.hands.hands import agreement_of_hands
from sidewise.teaching.pass_marks.borderline import (
    borderline_group,
    borderline_rating,
    borderline_regression,
    contrasting_groups,
)
from sidewise.teaching.reliability.variance_components import fit_variance
from sidewise.teaching.report.answers import board_answers
from sidewise.teaching.report.as_json import json_text, sitting_data
from sidewise.teaching.report.hands_text import hands_text
from sidewise.teaching.report.page import report_html
from sidewise.teaching.report.text import decisions_text, marks_text
from sidewise.teaching.severity.drift import ExaminerDrift, _sentence
from sidewise.teaching.sitting.moderation import moderated
from sidewise.teaching.sitting.options import SittingOptions
from sidewise.teaching.sitting.sitting import Sitting, analyse_sitting
from sidewise.teaching.tables.columns import RatingScale, rating_scale
from sidewise.teaching.tables.findings_table import read_findings
from sidewise.teaching.tables.marks_table import read_marks
from tests.teaching.conftest import EXAMPLES

TELLING = EXAMPLES / "telling"


@cache
def sat(name: str, **options: object) -> Sitting:
    path = EXAMPLES / name if (EXAMPLES / name).exists() else TELLING / name
    return analyse_sitting(read_marks(path), SittingOptions(**options))  # type: ignore[arg-type]


def everywhere(e: Sitting) -> tuple[str, str, str]:
    """The three ways a result goes out, with lines and marks of the page taken away."""
    said = " ".join(marks_text(e).split())
    page = " ".join(report_html(e).replace("&#x27;", "'").split())
    return said, page, json_text(sitting_data(e))


def short(e: Sitting, question: str) -> str:
    return next(a.short for a in board_answers(e) if a.question == question)


# ---------------------------------------------------------------- 1, 2: decisions


def test_who_fails_by_stations_is_named_with_that_rule_and_its_own_chance() -> None:
    e = sat("teaching_week_marks.csv", stations_to_pass=5)
    said, page, data = everywhere(e)
    for text in (said, page, data):
        assert "at least 5 of 8 stations passed" in text
        assert "2 by total, 2 by stations alone" in text
    failed = [r.student for r in e.results if r.decision == "fail"]
    assert len(failed) == 4
    assert all(name in decisions_text(e) for name in failed)
    by_stations = [r for r in e.results if r.decision == "fail" and r.by_marks == "pass"]
    assert len(by_stations) == 2
    # By total these two pass; a fail beside a chance under one half would be that of the total.
    assert all(r.other > 0.5 for r in by_stations)


def test_the_chance_shrinks_towards_the_cohort() -> None:
    # A total far below the mean is partly bad luck: a fail is less sure, a pass more sure than the
    # distance from the mark alone would say (flat prior: 0.5 at the mark).
    e = sat("teaching_week_marks.csv")
    passed = [r for r in e.results if r.decision == "pass" and r.margin < 1]
    assert len(passed) == 3
    assert all(r.other < 0.3 for r in passed)


# ---------------------------------------------------------------- 3: ratings from one


def test_ratings_without_a_zero_are_asked() -> None:
    with pytest.raises(UserErrors, match="whether fail is 0 or 1"):
        read_marks(TELLING / "numbered_from_one_marks.csv")


def test_read_from_one_the_mark_is_that_of_the_words() -> None:
    path = TELLING / "numbered_from_one_marks.csv"
    wrong, right = (
        analyse_sitting(read_marks(path, scale=rating_scale(None, None, first))).rule.mark
        for first in (0, 1)
    )
    # One grade too low is about ten points of the mark.
    assert right - wrong > 5


# ---------------------------------------------------------------- 4: exact agreement


def test_exact_and_weighted_agreement_are_told_apart() -> None:
    found = agreement_of_hands(read_findings(EXAMPLES / "teaching_week_findings.csv"))
    power = next(i for i in found.items if i.item == "rotation_power")
    table = next(i for i in found.findings.items if i.item == "rotation_power").values
    pairs = [
        (row[a], row[b]) for row in table for a in range(4) for b in range(a)
        if not np.isnan(row[a] + row[b])
    ]  # fmt: skip
    exact = np.mean([a == b for a, b in pairs])
    # All units but one were seen by all four examiners: pairs and units weigh nearly alike.
    assert f"exactly in {100 * exact:.0f}%" in power.sentence
    assert "by squared distance, 99%" in power.sentence


# ---------------------------------------------------------------- 5: severity not named


def test_nobody_named_still_says_how_much_hangs_on_examiners() -> None:
    e = sat("many_examiners_marks.csv")
    assert e.fairness.linked
    answer = next(a for a in board_answers(e) if a.question == "Is an examiner severe?")
    flips = sum(r.adjusted_decision not in (None, r.by_marks) for r in e.results)
    assert flips > 20
    assert answer.short == f"Nobody stands out; {flips} decisions would still change"
    assert f"fall on {flips} decisions" in answer.sentence
    assert "with intervals beyond 5 points" in answer.sentence
    for text in everywhere(e):
        assert f"{flips} decisions would still change" in text


# ---------------------------------------------------------------- 6, 7, 8


def test_an_extrapolated_pass_mark_says_so_everywhere() -> None:
    for text in everywhere(sat("nobody_borderline_marks.csv")):
        assert "the pass mark is an extrapolation" in text


def test_drift_that_cannot_be_told_is_not_called_none() -> None:
    e = sat("one_session_each_marks.csv")
    drift = e.fairness.drift
    assert drift is not None
    assert "cannot be told" in drift.sentence
    for text in everywhere(e):
        assert "No examiner is seen to drift" not in text


def drifting(verdict: str) -> ExaminerDrift:
    return ExaminerDrift("E1", 20, 0.0, 1.0, -2.0, 2.0, 1.0, 1.0, verdict)


@pytest.mark.parametrize(
    ("verdicts", "said"),
    [
        (["no drift seen"] * 3, "No examiner is seen to drift."),
        (["no drift seen", "cannot be told", "cannot be told"],
         "None of 1 examiners is seen to drift; of 2 more it cannot be told."),
        (["cannot be told"] * 2, "Whether an examiner drifts cannot be told here."),
        ([], "Whether an examiner drifts cannot be told here."),
    ],
)  # fmt: skip
def test_nobody_drifting_is_said_of_those_who_could_be_compared(
    verdicts: list[str], said: str
) -> None:
    assert _sentence(tuple(map(drifting, verdicts)), np.nan, np.nan, np.nan) == said


def test_a_student_with_zeros_only_is_asked_about() -> None:
    with pytest.raises(UserError, match="student S017"):
        read_marks(TELLING / "zeros_for_absent_marks.csv")


def test_an_absent_student_is_missing_and_lifts_nothing() -> None:
    path = TELLING / "zeros_for_absent_marks.csv"
    real, absent = (analyse_sitting(read_marks(path, zeros=z)) for z in ("real", "absent"))  # type: ignore[arg-type]
    assert real.consistency.alpha.value > absent.consistency.alpha.value + 0.1
    gone = next(r for r in absent.results if r.student == "S017")
    assert gone.decision == "incomplete"
    assert "Only zeros, read as absent: S017." in absent.warnings


# ---------------------------------------------------------------- 9, 10


def test_borderline_at_the_top_is_refused() -> None:
    with pytest.raises(UserError, match="a better one above it"):
        rating_scale("fail,pass", "pass")


def test_fail_and_pass_alone_can_be_read_with_fail_as_the_border() -> None:
    scale = rating_scale("fail,pass", "fail")
    e = analyse_sitting(read_marks(TELLING / "fail_pass_only_marks.csv", scale=scale))
    assert e.marks.scale.words == ("fail", "pass")


def test_findings_are_brought_to_the_items_own_words() -> None:
    found = read_findings(TELLING / "loose_findings.csv")
    kinds = {i.item: (i.kind, i.words) for i in found.items}
    assert kinds == {
        "flexion": ("measurement", ()),
        "arc": ("sign", ("negative", "positive")),
        "power": ("grade", ()),
    }
    assert "arc: read neg as negative, pos as positive." in found.warnings
    assert any("without a unit are taken to be degrees" in w for w in found.warnings)
    assert "neg as negative" in " ".join(hands_text(agreement_of_hands(found)).split())


# ---------------------------------------------------------------- 11: resits


def test_nine_students_set_no_pass_mark() -> None:
    e = sat("resit_marks.csv")
    assert {r.decision for r in e.results} == {"no pass mark"}
    for text in everywhere(e):
        assert "9 students are too few to set a pass mark from their own results" in text


def test_a_pass_mark_is_carried_forward_in_words() -> None:
    e = sat("resit_marks.csv", method="carried forward", carried=54.5)
    assert e.rule.mark == 54.5
    assert {r.decision for r in e.results} <= {"pass", "fail"}
    for text in everywhere(e):
        assert "54.5 is carried forward, not set by this sitting" in text


# ---------------------------------------------------------------- 12 to 15


def test_an_examiner_who_gave_everyone_the_same_is_said() -> None:
    for text in everywhere(sat("even_examiner_marks.csv")):
        assert "E004 gave all 20 students at power the same mark (70.0)" in text
        assert "E004 gave all 20 students the same global rating" in text


# Mean positions of borderline pass, clear pass and good on 0 to 1 as examiners placed them: 0.33,
# 0.55, 0.77 (BMC Med Educ 2022, doi 10.1186/s12909-022-03753-5).
POSITIONS = (0.0, 0.33, 0.55, 0.77, 1.0)


def test_unequal_positions_count_the_same_students_as_borderline() -> None:
    rng = np.random.default_rng(0)
    place = rng.integers(0, 5, 200)
    mark = 40 + 9.0 * place + rng.normal(0, 5, 200)
    at = np.array(POSITIONS)[place]
    border = borderline_rating(POSITIONS, 1)
    found = borderline_regression(mark, at, border)
    assert found.borderline == (place == 1).sum()
    assert found.at_or_below == (place <= 1).sum()
    assert borderline_group(mark, at, border).cut.value == pytest.approx(mark[place == 1].mean())
    groups = contrasting_groups(mark, at, border)
    assert (groups.failing, groups.passing) == ((place == 0).sum(), (place > 1).sum())


def test_positions_move_the_mark_of_a_sitting() -> None:
    path = EXAMPLES / "teaching_week_marks.csv"
    scale = RatingScale(positions=POSITIONS)
    moved = analyse_sitting(read_marks(path, scale=scale), SittingOptions(draws=0))
    line = np.polyfit(scale.at_positions(moved.table.rating[:, 0]), moved.table.score[:, 0], 1)
    assert moved.stations[0].line.cut.value == pytest.approx(np.polyval(line, 0.33))
    assert (
        moved.stations[0].line.borderline
        == sat("teaching_week_marks.csv").stations[0].line.borderline
    )


def test_perfect_agreement_on_one_category_has_a_value() -> None:
    # Gwet's chance agreement sum p(1 - p)/(q - 1) is 0 when one category is used, whatever q.
    found = rater_agreement(np.ones((12, 2)))
    assert found.gwet.value == 1.0
    assert np.isnan(found.gwet.low)
    assert np.isnan(found.conger.value)
    said = agreement_of_hands(read_findings(TELLING / "perfect_findings.csv")).items[0].sentence
    assert "every finding was the same (present); agreement is perfect" in said


def test_perfect_agreement_claims_no_certainty() -> None:
    found = rater_agreement(np.array([[0.0, 0], [1, 1], [1, 1], [0, 0]]))
    assert (found.conger.value, found.gwet.value) == (1.0, 1.0)
    assert np.isnan(found.conger.se)
    assert np.isnan(found.conger.low)


def test_a_facet_twice_is_refused(result: Sitting) -> None:
    with pytest.raises(UserError, match="student once"):
        fit_variance(result.scores, facets=("student", "station", "student:circuit"))


# ---------------------------------------------------------------- 16: pictures


def test_every_student_near_the_border_is_drawn_or_counted() -> None:
    e = sat("many_examiners_marks.csv")
    page = report_html(e)
    assert len(e.near) > 40
    assert f"{len(e.near) - 40} more near the border: see the table" in page
    assert f"and {len(e.near) - 40} more not drawn" in page
    # 240 examiners, the 40 outermost drawn.
    assert "200 examiners between these: table" in page
    assert "200 between these not drawn" in page


def test_labels_never_stand_on_each_other() -> None:
    from sidewise.ground.svg.page_parts import labels_beside

    tags = labels_beside(700, [(84.0, "0.8 asked"), (86.0, "other stations"), (80.0, "these")])
    heights = [float(t.split('y="')[1].split('"')[0]) for t in tags]
    assert all(b - a >= 15 for a, b in pairwise(heights))
    assert len(tags) == 3


@pytest.mark.parametrize("line", [45.0, 58.0, 69.2, 76.0, 90.0])
def test_words_about_a_point_are_not_crossed_by_the_line_that_is_asked(line: float) -> None:
    from sidewise.teaching.report.pictures import _below_lines

    # Letters of 13 pixels stand from 11 above their line to 3 below it.
    place = _below_lines(51.0, line)
    assert not place - 11 < line < place + 3
    assert 73 <= place <= 94


# ---------------------------------------------------------------- what was left out


def test_what_was_left_out_stands_beside_the_decisions() -> None:
    marks = read_marks(EXAMPLES / "teaching_week_marks.csv")
    after = analyse_sitting(marks, SittingOptions(without=("power",), draws=0))
    e = moderated(marks, after, "the board")
    log = e.moderation
    assert log is not None
    before = {
        r.student: r.decision for r in analyse_sitting(marks, SittingOptions(draws=0)).results
    }
    moved = {r.student for r in after.results if r.decision != before[r.student]}
    assert {c.student for c in log.changed} == moved
    assert len(moved) >= 1
    for text in everywhere(e):
        assert "by the board: station power left out" in text
        assert f"{min(moved)} from" in text or f'"student": "{min(moved)}"' in text


def test_leaving_rows_out_by_the_command_is_logged() -> None:
    path = str(EXAMPLES / "teaching_week_marks.csv")
    done = CliRunner().invoke(
        app, ["marks", path, "--decide", "--leave-out", "2-81", "--draws", "0", "--by", "B7"]
    )
    said = " ".join(done.output.split())
    assert "Changed before the decisions by B7: rows 2, 3," in said
    assert "1 student is no longer there" in said


# ---------------------------------------------------------------- the command


def test_decide_names_rules_failures_and_forecasts() -> None:
    path = str(EXAMPLES / "teaching_week_marks.csv")
    done = CliRunner().invoke(
        app, ["marks", path, "--decide", "--stations-to-pass", "5", "--recall", "6"]
    )
    said = " ".join(done.output.split())
    assert done.exit_code == 0
    assert "Rules in force: total at or above 47.7 (borderline regression); at least 5 of 8" in said
    assert "a minimum of 4 agrees with the mark; the rule in force asks 5" in said
    assert "Recalled below the mark plus 1 SEM" in said
    assert "chance of the other" in said


def test_decisions_are_in_the_json() -> None:
    path = str(EXAMPLES / "teaching_week_incomplete_marks.csv")
    done = CliRunner().invoke(app, ["marks", path, "--json", "--critical", "fail"])
    found = json.loads(done.output)["decisions"]
    assert found["counts"] == {
        "pass": 43, "fail": 3, "held": 0, "incomplete": 2, "no pass mark": 0
    }  # fmt: skip
    assert "a critical error fails" in found["rules"]
    assert found["minimum"]["needed"] == 4
