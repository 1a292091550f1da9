"""Sheets that are sent: understood as the command understands them, in a process of its own."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import pytest
from typer.testing import CliRunner

from sidewise.cli import app
from sidewise.errors import UserError, UserErrors
from sidewise.teaching.report import marks_apart
from sidewise.teaching.report.marks_apart import (
    open_apart,
    open_sheet,
    print_apart,
    read_again_apart,
    read_sheet_again,
)
from sidewise.teaching.report.printout import HeldBefore, print_sitting, safe_cell
from sidewise.teaching.sitting.chosen_columns import ChosenColumns, ChosenStation
from sidewise.teaching.sitting.option_words import OPTION_WORDS
from sidewise.teaching.sitting.request import MarksRequest, check_rules, request_from_words
from sidewise.teaching.tables.grid_marks import students_by_row, without_names
from sidewise.teaching.tables.marks_table import read_marks
from sidewise.teaching.tables.questions import SheetQuestion
from sidewise.teaching.tables.sheet_grid import Grid
from sidewise.teaching.tables.sheet_upload import uploaded_grid

EXAMPLES = Path(__file__).parents[3] / "examples" / "marks"
FILES = sorted(p for p in EXAMPLES.rglob("*marks.csv"))
SHEETS = sorted(EXAMPLES.rglob("*_sheet.csv"))
SETTLED = {"ratings_from": "1", "codes": "join", "zeros": "absent"}


def small_sheet(students: int = 6) -> bytes:
    rows = ["student,station,examiner,mark,maximum,global_rating"]
    for i in range(1, students + 1):
        for k, station in enumerate(("look", "feel", "move")):
            word = "pass" if i > 2 else "fail"
            rows.append(f"{i},{station},E{k},{min(20, 7 + i + (i * k) % 3)},20,{word}")
    return ("\n".join(rows) + "\n").encode()


def outcome(read):
    """The table, or the errors in their parts."""
    try:
        marks = read()
    except UserErrors as errors:
        return [error.message for error in errors.errors]
    except UserError as error:
        return [error.message]
    return marks.table.to_csv(), marks.warnings


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.name)
def test_a_kept_grid_reads_as_the_file_itself(path: Path) -> None:
    for words in ({}, SETTLED):
        asked = request_from_words(words)
        from_file = outcome(lambda asked=asked: asked.marks(path))
        from_grid = outcome(
            lambda asked=asked: asked.marks(uploaded_grid(path.name, path.read_bytes()))
        )
        assert from_grid == from_file
    assert len(FILES) >= 15


@pytest.mark.parametrize("path", SHEETS, ids=lambda p: p.name)
def test_a_kept_sheet_in_another_layout_reads_as_the_file_itself(path: Path) -> None:
    grid = uploaded_grid(path.name, path.read_bytes())
    from_file = read_marks(path, columns="yes")
    from_grid = MarksRequest(columns="yes").marks(grid)
    assert from_grid.table.equals(from_file.table)
    assert from_grid.warnings == from_file.warnings
    # What is proposed, given back as words, is the proposal.
    words = open_sheet(path.name, path.read_bytes()).understood.words
    assert MarksRequest(columns=words).marks(grid).table.equals(from_file.table)
    assert len(SHEETS) == 3


def test_what_the_page_prints_is_what_the_command_prints(tmp_path: Path) -> None:
    path = tmp_path / "week.csv"
    path.write_bytes(small_sheet(12))
    given = ["marks", str(path), "--json", "--draws", "0", "--critical", "fail",
             "--pass-mark", "50", "--recall", "4"]  # fmt: skip
    command = json.loads(CliRunner().invoke(app, given).stdout)
    words = {"draws": "0", "critical": "fail", "pass_mark": "50", "recall": "4"}
    page = json.loads(print_sitting(uploaded_grid("week.csv", small_sheet(12)), words).data)
    assert page == command
    assert page["students"] == 12
    assert [row["more"] for row in page["decisions"]["recall"]] == [4, 4]


def test_every_option_of_a_request_has_its_words_and_no_other() -> None:
    assert set(OPTION_WORDS) == set(MarksRequest.__dataclass_fields__)
    assert len(OPTION_WORDS) == 21


def test_the_other_process_answers_as_this_one() -> None:
    grid = uploaded_grid("week.csv", small_sheet())
    assert open_apart("week.csv", small_sheet()) == open_sheet("week.csv", small_sheet())
    assert read_again_apart(grid, {"zeros": "real"}) == read_sheet_again(grid, {"zeros": "real"})
    words, before, day = {"draws": "0", "without": ["move"]}, HeldBefore(grid, {}), date(2026, 3, 2)
    here = print_sitting(grid, words, before, "Rests on it.", day)
    assert print_apart(grid, words, before, "Rests on it.", day).headline == here.headline


def test_an_error_travels_from_the_other_process_with_its_parts() -> None:
    data = small_sheet().replace(b"look,E0,8,20", b"look,E0,99,20")
    with pytest.raises(UserErrors) as here:
        raise marks_apart.errors_of(open_sheet("week.csv", data).understood.faults)
    with pytest.raises(UserErrors) as there:
        raise marks_apart.errors_of(open_apart("week.csv", data).understood.faults)
    assert there.value.message == here.value.message
    assert "row 2, mark: got" in here.value.message


def test_a_process_that_takes_too_long_or_too_much_is_ended_in_words(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(marks_apart, "SECONDS_TO_READ", 0.01)
    with pytest.raises(UserError, match="not done in"):
        open_apart("week.csv", small_sheet())


def test_everything_that_is_asked_is_asked_at_once_and_nothing_is_settled_by_looking() -> None:
    rows = small_sheet(8).decode().replace("pass", "3").replace("fail", "1").splitlines()
    rows += [f"9,{s},E0,0,20,1" for s in ("look", "feel")]
    rows += ["s08,look,E0,12,20,3", "S8,feel,E1,12,20,3"]
    understood = open_sheet("week.csv", "\n".join(rows).encode()).understood
    assert {told.option for told in understood.asked} == {"ratings_from", "codes", "zeros"}
    assert not understood.settled
    assert not understood.faults


def test_a_sheet_of_two_sittings_asks_which() -> None:
    rows = small_sheet().decode().splitlines()
    two = [f"{line},{'sitting' if n == 0 else 1 + n % 2}" for n, line in enumerate(rows)]
    (asked,) = open_sheet("week.csv", "\n".join(two).encode()).understood.asked
    assert (asked.option, set(asked.answers)) == ("sitting", {"1", "2"})


def test_whose_row_each_is() -> None:
    grid = uploaded_grid("wide_sheet.csv", (EXAMPLES / "telling" / "wide_sheet.csv").read_bytes())
    rows = students_by_row(grid, None)
    assert rows[5] == "301"
    # Title, headings, maxima and totals are nobody's; a row that is left out is still somebody's.
    assert {1, 2, 3, 4, 19} & set(rows) == set()
    left = students_by_row(grid, "leave=4,5,19")
    assert left[5] == "301"


def test_names_are_emptied_and_said() -> None:
    grid = Grid("w.csv", (("Candidate", "Surname", "Look", "Feel"), ("1", "Curlew", "4", "5")))
    kept = without_names(grid)
    assert kept.rows[1] == ("1", "", "4", "5")
    assert "Surname" in kept.warnings[0]


def test_chosen_columns_are_the_words_of_the_option() -> None:
    stations = (ChosenStation("Look", "20", "Rate", ""), ChosenStation("Feel", "15"))
    chosen = ChosenColumns({"student": "Nr"}, stations, left="4, 19")
    assert chosen.words() == (
        "student=Nr; stations=Look|Feel; ratings=Rate|none; maximum=20|15; examiner=none; "
        "leave=4,19"
    )
    with pytest.raises(UserError, match="headings without"):
        ChosenColumns({"student": "a;b"}, stations).words()
    with pytest.raises(UserError, match="the highest mark at Feel"):
        ChosenColumns({"student": "Nr"}, (stations[0], ChosenStation("Feel"))).words()


@pytest.mark.parametrize(
    "words",
    [{"other": "1"}, {"add_sem": "many"}, {"draws": "1.5"}, {"method": "angoff"},
     {"method": "carried forward"}, {"pass_mark": "nan"}, {"leave_out": "x"}],
)  # fmt: skip
def test_rules_that_cannot_hold_are_refused(words: dict[str, str]) -> None:
    with pytest.raises(UserError):
        check_rules(words)


@pytest.mark.parametrize(
    ("cell", "kept"),
    [("=1+1", "'=1+1"), ("@x", "'@x"), ("+x", "'+x"), ("-x", "'-x"), ("-1.5", "-1.5"), ("-", "-"),
     ("S01", "S01"), ("", "")],
)  # fmt: skip
def test_only_what_a_spreadsheet_would_run_is_set_off(cell: str, kept: str) -> None:
    # OWASP, CSV Injection: cells that begin with = + - @ tab or carriage return (recalled).
    assert safe_cell(cell) == kept


def test_a_question_names_the_option_that_answers_it() -> None:
    with pytest.raises(SheetQuestion) as asked:
        read_marks(EXAMPLES / "telling" / "wide_sheet.csv")
    assert asked.value.option == "columns"
