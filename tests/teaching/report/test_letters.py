"""Letters to examiners, authors and students; methods side by side; examiners by allocation."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from sidewise.cli import app
from sidewise.errors import UserError
from sidewise.teaching.examples.teaching_week import TeachingWeek, teaching_week
from sidewise.teaching.pass_marks.true_scores import allocated_effects
from sidewise.teaching.reliability.generalizability import examiner_luck
from sidewise.teaching.reliability.variance_components import fit_variance
from sidewise.teaching.report.letters import letters, write_letters
from sidewise.teaching.report.student_letters import student_letters
from sidewise.teaching.sitting.methods_beside import fails_under
from sidewise.teaching.sitting.sitting import Sitting, analyse_sitting
from sidewise.teaching.tables.marks_table import read_marks
from tests.teaching.conftest import EXAMPLES


def text_to(e: Sitting, code: str) -> str:
    return " ".join(next(x.text for x in letters(e) if x.code == code).split())


def test_everybody_gets_a_letter(result: Sitting) -> None:
    kinds = [x.kind for x in letters(result)]
    assert (kinds.count("examiners"), kinds.count("stations"), kinds.count("students")) == (
        16,
        8,
        48,
    )


def test_the_severe_examiner_reads_points_and_rule(week: TeachingWeek, result: Sitting) -> None:
    said = text_to(result, week.severe_examiner)
    assert "11.0 points of 100 fewer than the average examiner" in said
    assert "By the rule for all examiners together: severe." in said
    assert "students you happened to see" in said


def test_an_unlinked_examiner_reads_the_assumption(unlinked: Sitting) -> None:
    said = text_to(unlinked, "E01")
    assert "If students came to circuits at random" in said
    assert "Nobody is named from this" in said


def test_the_author_of_the_broken_station_reads_the_signs(
    week: TeachingWeek, result: Sitting
) -> None:
    said = text_to(result, week.broken_station)
    assert "All three signs that the station measures something else" in said


def test_a_student_reads_decision_reason_and_stations() -> None:
    e = analyse_sitting(read_marks(EXAMPLES / "teaching_week_incomplete_marks.csv"))
    said = text_to(e, "S12")
    assert "Decision: held (critical error at nerves; pass by the other rules)" in said
    assert "nerves: went on after the patient asked to stop" in said
    assert "To practise first, where you stood lowest beside the class power: most marks" in said


def test_a_student_never_reads_another_students_code(result: Sitting) -> None:
    codes = {r.student for r in result.results}
    found = [(x.code, c) for x in student_letters(result) for c in codes - {x.code} if c in x.text]
    assert found == []
    assert len(codes) == 48


def test_a_handful_does_not_show_the_class() -> None:
    e = analyse_sitting(read_marks(EXAMPLES / "telling" / "resit_marks.csv"))
    rows = [line for line in student_letters(e)[0].text.splitlines() if line.startswith("look")]
    assert rows[0].endswith("-")


def test_letters_are_written_once_each(result: Sitting, tmp_path: Path) -> None:
    assert write_letters(result, tmp_path) == 72
    assert len(list(tmp_path.rglob("*.txt"))) == 72


def test_two_codes_of_one_file_name_are_refused(result: Sitting, tmp_path: Path) -> None:
    first, second, *rest = result.results
    twice = replace(
        result, results=(replace(first, student="a b"), replace(second, student="a/b"), *rest)
    )
    with pytest.raises(UserError, match="Two codes give one file name"):
        write_letters(twice, tmp_path)


def test_the_command_writes_letters(tmp_path: Path) -> None:
    path = str(EXAMPLES / "teaching_week_marks.csv")
    done = CliRunner().invoke(app, ["marks", path, "--letters", str(tmp_path / "out")])
    assert "72 letters written" in done.output


# ---------------------------------------------------------------- methods and examiners


def test_who_fails_under_each_method(result: Sitting) -> None:
    found = {row.student: row.methods for row in fails_under(result)}
    for mark in result.pass_marks:
        below = {r.student for r in result.results if r.total < mark.cut.value}
        assert below == {s for s, methods in found.items() if mark.method in methods}
    assert len(result.pass_marks) == 3


def test_luck_is_the_root_of_the_variance_over_stations(result: Sitting) -> None:
    components = result.fairness.components
    assert components is not None
    found = examiner_luck(components, 8)
    assert found.value == pytest.approx((components.components["examiner"] / 8) ** 0.5)
    assert found.low is not None
    assert found.high is not None
    assert found.low <= found.value <= found.high


def test_effects_by_allocation_equal_the_mixed_model_equations() -> None:
    # Direct: best linear unbiased prediction u = v_e Z' V^-1 (y - X b) with b by least squares.
    scores = analyse_sitting(read_marks(EXAMPLES / "telling" / "even_examiner_marks.csv")).scores
    components = fit_variance(scores, intervals="none")
    found = {x.examiner: x.points for x in allocated_effects(scores, components)}
    c = components.components
    y = scores["score"].to_numpy(dtype=float)
    x, p, e = (
        np.equal.outer(scores[name].to_numpy(str), scores[name].unique().astype(str)).astype(float)
        for name in ("station", "student", "examiner")
    )
    rest = c.get("residual", 0.0) + c.get("student_station", 0.0)
    v = c["student"] * p @ p.T + c["examiner"] * e @ e.T + rest * np.eye(y.size)
    inverse = np.linalg.inv(v)
    b = np.linalg.solve(x.T @ inverse @ x, x.T @ inverse @ y)
    effects = c["examiner"] * e.T @ inverse @ (y - x @ b)
    names = [str(n) for n in scores["examiner"].unique()]
    # Stations have a precision of 1e-8 there, sessions of 1e6: a thousandth of a point.
    assert [found[n] for n in names] == pytest.approx(effects.tolist(), abs=1e-3)


@pytest.mark.slow
def test_effects_by_allocation_cover_in_nested_circuits() -> None:
    # 60 unlinked weeks whose students came at random: 95% limits of effects cover the examiners'
    # true ones beside their mean; 960 of them, those of one week hanging together: 95 -/+ 4%.
    inside = []
    for seed in range(60):
        week = teaching_week(1000 + seed, linked=False)
        scores = analyse_sitting_scores(week)
        mean = np.mean(list(week.severity.values()))
        for x in allocated_effects(scores, fit_variance(scores, intervals="none")):
            true = -(week.severity[x.examiner] - mean)
            inside.append(x.low <= true <= x.high)
    assert len(inside) > 700
    assert np.mean(inside) == pytest.approx(0.95, abs=0.04)


def analyse_sitting_scores(week: TeachingWeek) -> object:
    from sidewise.teaching.tables.marks_table import marks_from_frame
    from sidewise.teaching.tables.scores import station_scores

    return station_scores(marks_from_frame(week.marks).table)


def test_domains_stand_in_text_page_json_and_letters(week: TeachingWeek) -> None:
    from sidewise.teaching.report.as_json import json_text, sitting_data
    from sidewise.teaching.report.page import report_html
    from sidewise.teaching.report.text import marks_text
    from sidewise.teaching.tables.marks_table import marks_from_frame

    words = week.marks["station"].isin(["history", "explain"])
    table = week.marks.assign(domain=np.where(words, "words", "hands"))
    e = analyse_sitting(marks_from_frame(table))
    found = e.fairness.domains
    assert found is not None
    assert [len(f.stations) for f in found.domains] == [2, 6]
    for text in (marks_text(e), report_html(e)):
        assert "with domains kept apart" in " ".join(text.split())
    assert '"domains"' in json_text(sitting_data(e))
    assert "domain yours pass mark class: middle half words" in text_to(e, "S01")
    assert "give or take" in text_to(e, "S01")


def test_a_station_in_two_domains_is_refused(week: TeachingWeek) -> None:
    from sidewise.teaching.tables.marks_table import marks_from_frame

    domain = ["words", "hands"] * (len(week.marks) // 2)
    with pytest.raises(UserError, match="domain"):
        marks_from_frame(week.marks.assign(domain=domain))
