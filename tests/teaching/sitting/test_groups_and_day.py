"""Groups of students and the order of the day, from the table to the report."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

from sidewise.cli import app
from sidewise.errors import UserError, UserErrors
from sidewise.teaching.examples.teaching_week import TeachingWeek
from sidewise.teaching.report.page import report_html
from sidewise.teaching.report.text import marks_text
from sidewise.teaching.severity.drift import fit_drift
from sidewise.teaching.sitting.fairness import _places
from sidewise.teaching.sitting.options import SittingOptions
from sidewise.teaching.sitting.sitting import Sitting, analyse_sitting
from sidewise.teaching.tables.marks_table import marks_from_frame
from sidewise.teaching.tables.scores import station_scores
from tests.teaching.conftest import EXAMPLES

QUICK = SittingOptions(draws=0)


def in_groups(marks: pd.DataFrame, sizes: dict[str, int]) -> pd.DataFrame:
    """Students in the order of the file, so many to each group, the rest to none."""
    students = list(marks["student"].unique())
    names = [name for name, n in sizes.items() for _ in range(n)]
    return marks.assign(cohort=marks["student"].map(dict(zip(students, names, strict=False))))


@pytest.fixture(scope="module")
def grouped(week: TeachingWeek) -> Sitting:
    frame = in_groups(week.marks, {"harbour": 24, "dunes": 16, "lighthouse": 4, "mill": 4})
    return analyse_sitting(marks_from_frame(frame, group="cohort"), QUICK)


def test_groups_are_compared_with_their_caution(grouped: Sitting) -> None:
    page = report_html(grouped)
    assert "<h2>Groups of students</h2>" in page
    assert "these figures cannot say which" in page
    assert "these figures cannot say which" in marks_text(grouped).replace("\n  ", " ")


def test_small_groups_are_not_shown(grouped: Sitting) -> None:
    found = grouped.fairness.groups
    assert found is not None
    shown = {g.group for g in found.groups if not g.suppressed}
    assert shown == {"harbour", "dunes"}
    assert all(g.mean is None and g.n is None for g in found.groups if g.suppressed)
    assert "too few to show" in marks_text(grouped)


def test_a_column_called_group_needs_no_option(week: TeachingWeek) -> None:
    frame = in_groups(week.marks, {"harbour": 24, "dunes": 20}).rename(columns={"cohort": "group"})
    found = analyse_sitting(marks_from_frame(frame), QUICK)
    assert found.fairness.groups is not None
    assert "4 students without a group are left out of that comparison." in found.warnings


def test_no_group_column_no_section(result: Sitting) -> None:
    assert result.fairness.groups is None
    assert "Groups of students" not in report_html(result)


def test_a_student_in_two_groups_is_refused_by_row(small: pd.DataFrame) -> None:
    frame = small.assign(group="harbour")
    frame.loc[40, "group"] = "dunes"
    with pytest.raises(UserErrors, match=r"row 42, group: got .*dunes.*harbour"):
        marks_from_frame(frame)


def test_a_group_column_that_is_not_there_is_refused(small: pd.DataFrame) -> None:
    with pytest.raises(UserError, match=r"house.*expected a column"):
        marks_from_frame(small, group="house")


def test_group_option_of_the_command() -> None:
    file = str(EXAMPLES / "teaching_week_marks.csv")
    run = CliRunner().invoke(app, ["marks", file, "--group", "circuit", "--draws", "0", "--json"])
    assert run.exit_code == 0
    groups = json.loads(run.stdout)["groups"]
    assert [g["group"] for g in groups["groups"]] == ["causeway", "slipway"]


# ---------------------------------------------------------------- the order of the day


def timed(marks: pd.DataFrame, tired: str) -> pd.DataFrame:
    """Clock times by the student's place; one examiner gives 4 of 10 marks fewer at the end."""
    students = {name: k for k, name in enumerate(marks["student"].unique())}
    place = marks["student"].map(students)
    out = marks.assign(time=[f"{8 + k // 6:02d}:{10 * (k % 6):02d}" for k in place])
    late = (marks["examiner"] == tired) & (place % 8 >= 4)
    out["mark"] = np.where(late, np.maximum(marks["mark"] - 1, 0), marks["mark"])
    return out


def test_drift_follows_the_clock_where_there_is_one(week: TeachingWeek) -> None:
    found = analyse_sitting(marks_from_frame(timed(week.marks, "E01")), QUICK).fairness
    assert found.drift_by == "time"
    assert found.drift is not None
    assert found.drift.places == 48


def test_drift_follows_sessions_where_there_is_no_clock(result: Sitting) -> None:
    assert result.fairness.drift_by == "session"
    assert result.fairness.drift is not None
    assert result.fairness.drift.places == 3


@pytest.mark.parametrize(
    "written",
    [("08:30", "09:15", "10:00"), ("1", "2", "3"), ("2026-03-02T08:30", "2026-03-02 09:15:00",
     "2026-03-02T10:00")],
)  # fmt: skip
def test_times_are_read_in_order(small: pd.DataFrame, written: tuple[str, ...]) -> None:
    station = pd.factorize(small["station"])[0]
    read = marks_from_frame(small.assign(time=[written[k % 3] for k in station])).table["time"]
    places = [read[station == k].iloc[0] for k in range(3)]
    assert places == sorted(places)
    assert len(set(places)) == 3
    assert places[2] - places[1] == pytest.approx(places[1] - places[0])


@pytest.mark.parametrize("value", ["half past nine", "25:00", "12"])
def test_a_time_that_is_none_or_written_otherwise_is_refused(
    small: pd.DataFrame, value: str
) -> None:
    frame = small.assign(time="09:40")
    first = frame["station"].eq("look") & frame["student"].eq("S01")
    frame.loc[first, "time"] = value
    with pytest.raises(UserErrors, match=r"time: got .*expected a time such as 09:40"):
        marks_from_frame(frame)


def test_session_numbers_count_upwards(week: TeachingWeek) -> None:
    # Ten comes after nine, whatever the alphabet and the order of rows say.
    names = {"monday": "10", "tuesday": "9", "wednesday": "11"}
    frame = week.marks.assign(session=week.marks["session"].map(names))
    mixed = frame.sample(frac=1, random_state=1)
    one, other = (by_session(station_scores(marks_from_frame(f).table)) for f in (frame, mixed))
    assert one == pytest.approx(other)


def by_session(scores: pd.DataFrame) -> float:
    placed = scores.assign(time=_places(scores, "session"))
    return fit_drift(placed, order="time").common_change


# ---------------------------------------------------------------- who is named, and from what


def test_the_logit_view_carries_no_verdicts() -> None:
    file = str(EXAMPLES / "teaching_week_marks.csv")
    data = json.loads(CliRunner().invoke(app, ["marks", file, "--draws", "0", "--json"]).stdout)
    assert data["severity"]["severe"] == ["E08"]
    model = data["rating_model"]
    assert len(model["examiners"]) == 16
    assert {"severity", "infit", "outfit"} <= set(model["examiners"][0])
    words = {"verdict", "severe", "lenient", "sentence", "rule"}
    assert not words & {*model, *(key for row in model["examiners"] for key in row)}


def test_halo_is_a_place_to_look(result: Sitting) -> None:
    halo = result.fairness.halo
    assert halo is not None
    assert {e.seen for e in halo.examiners} <= {
        "items move together", "as the others", "cannot be told",
    }  # fmt: skip
    assert "no fault is shown" in halo.sentence or not halo.look_at


# ---------------------------------------------------------------- broken files


@pytest.mark.parametrize("file", sorted((EXAMPLES / "broken").glob("*.csv")), ids=lambda f: f.stem)
def test_a_broken_file_leaves_nothing_behind(file: Path, tmp_path: Path) -> None:
    for words in (["check", str(file)], ["marks", str(file), "--html", str(tmp_path / "r.html")]):
        run = CliRunner().invoke(app, words)
        assert run.exit_code != 0
        assert isinstance(run.exception, UserError | UserErrors | SystemExit)
    assert list(tmp_path.iterdir()) == []


def test_six_broken_files_were_swept() -> None:
    assert len(list((EXAMPLES / "broken").glob("*.csv"))) == 6


@pytest.mark.parametrize(
    ("name", "status"),
    [("teaching_week_marks.csv", 0), ("teaching_week_incomplete_marks.csv", 1),
     ("broken/twice_marks.csv", 2)],
)  # fmt: skip
def test_exit_status_of_check(name: str, status: int) -> None:
    import subprocess
    import sys

    done = subprocess.run(
        [sys.executable, "-c", "from sidewise.cli import main; main()", "check",
         str(EXAMPLES / name)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == status, done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.slow
def test_a_million_rows_are_read_and_analysed(week: TeachingWeek, tmp_path: Path) -> None:
    from sidewise.teaching.tables.marks_table import read_marks

    copies = [
        week.marks.assign(student=week.marks["student"] + f"-{k}", item=week.marks["item"])
        for k in range(261)
    ]
    place = tmp_path / "million.parquet"
    pd.concat(copies, ignore_index=True).to_parquet(place)
    found = analyse_sitting(read_marks(place), QUICK)
    assert found.marks.rows == 261 * 3840 > 1_000_000
    assert len(found.results) == 261 * 48
    assert week.severe_examiner in found.fairness.severity.severe  # type: ignore[union-attr]
