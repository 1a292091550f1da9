"""Sheets as teachers have them: proposed, confirmed, read; what is doubtful is asked."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest
from openpyxl import Workbook
from typer.testing import CliRunner

from sidewise.cli import app
from sidewise.errors import UserError, UserErrors
from sidewise.teaching.tables.cell_values import mark_cell
from sidewise.teaching.tables.findings_table import read_findings
from sidewise.teaching.tables.heading_words import WORDS, meaning_of
from sidewise.teaching.tables.marks_table import Marks, read_marks
from sidewise.teaching.tables.plausible import CODES, codes_answer, settle_codes
from sidewise.teaching.tables.sheet_grid import read_grid
from sidewise.teaching.tables.sheet_layout import proposed_layout
from sidewise.teaching.tables.template import write_template
from tests.teaching.conftest import EXAMPLES

TELLING = EXAMPLES / "telling"


def written(folder: Path, text: str) -> Path:
    path = folder / "sheet.csv"
    path.write_text(text, encoding="utf-8")
    return path


def cell(marks: Marks, student: str, station: str, column: str = "mark") -> float:
    table = marks.table
    row = table[(table["student"] == student) & (table["station"] == station)]
    return float(row[column].iloc[0])


# ---------------------------------------------------------------- proposal


@pytest.mark.parametrize("name", ["wide_sheet.csv", "merged_sheet.csv", "fraction_sheet.csv"])
def test_nothing_is_read_before_the_proposal_is_confirmed(name: str) -> None:
    with pytest.raises(UserError, match="Confirm with --columns yes"):
        read_marks(TELLING / name)


def test_the_proposal_stands_in_the_message() -> None:
    done = CliRunner().invoke(app, ["marks", str(TELLING / "wide_sheet.csv")])
    said = " ".join(str(done.exception or done.output).split())
    assert "student=Candidate; stations=Look|Feel|Move|Power; maximum=40|40|40|40" in said
    assert "examiner=none; headings=3; leave=4,19" in said


def test_a_wide_sheet_as_confirmed() -> None:
    marks = read_marks(TELLING / "wide_sheet.csv", columns="yes")
    assert (marks.table["student"].nunique(), marks.table["station"].nunique()) == (14, 4)
    assert cell(marks, "306", "Look") == 21.5
    assert cell(marks, "310", "Move") == 18.5
    absent = marks.table[marks.table["mark"].isna()][["student", "station"]].to_numpy().tolist()
    assert absent == [["304", "Feel"], ["309", "Power"]]
    assert set(marks.table["maximum"]) == {40.0}
    assert "2 cells say that nobody was there: no marks, never zero." in marks.warnings
    assert "No examiner is recorded: nothing can be said of examiners." in marks.warnings


def test_two_heading_rows_another_language_and_percentages() -> None:
    marks = read_marks(TELLING / "merged_sheet.csv", columns="yes")
    assert set(marks.table["station"]) == {"Anamnese", "Inspektion", "Kraft"}
    assert set(marks.table["maximum"]) == {100.0}
    assert marks.table["global_rating"].notna().all()
    assert marks.table["examiner"].nunique() == 3
    assert "Mittelwert" not in set(marks.table["student"])


def test_other_headings_and_fractions() -> None:
    marks = read_marks(TELLING / "fraction_sheet.csv", columns="yes")
    assert set(marks.table["maximum"]) == {20.0}
    assert len(marks.table) == 36


def test_a_sheet_reads_as_the_table_it_was_made_from() -> None:
    from sidewise.teaching.examples.telling_files import _sitting

    marks = read_marks(TELLING / "fraction_sheet.csv", columns="yes").table
    source = _sitting(14, 12, stations=3)
    share = source["mark"].astype(float).to_numpy() / 40
    assert (marks["mark"] / marks["maximum"]).to_numpy() == pytest.approx(share)


def test_parts_of_the_proposal_can_be_changed(tmp_path: Path) -> None:
    path = written(tmp_path, "Candidate,Case,Marker,Points,Extra\n1,a,X,14,9\n2,a,X,12,8\n")
    with pytest.raises(UserError, match="the highest mark of each station"):
        read_marks(path, columns="yes")
    marks = read_marks(path, columns="mark=Extra; maximum=10; examiner=none")
    assert marks.table["mark"].tolist() == [9.0, 8.0]
    assert set(marks.table["examiner"]) == {"not recorded"}


@pytest.mark.parametrize(
    ("columns", "match"),
    [("colour=Points", "one of"), ("mark=Nowhere", "one of: Candidate"), ("mark", "one of"),
     ("maximum=10|20", "one number"), ("headings=4", "headings=1"), ("leave=x", "rows such as")],
)  # fmt: skip
def test_what_is_not_understood_is_refused(tmp_path: Path, columns: str, match: str) -> None:
    path = written(tmp_path, "Candidate,Case,Marker,Points\n1,a,X,14\n2,a,X,12\n")
    with pytest.raises(UserError, match=match):
        read_marks(path, columns=columns)


def test_maximum_in_the_heading(tmp_path: Path) -> None:
    path = written(tmp_path, "Student,Look (20),Feel /15,Move max 10\n1,14,9,7\n2,12,8,6\n")
    layout = proposed_layout(read_grid(path))
    assert [(s.station, s.maximum) for s in layout.stations] == [
        ("Look", 20.0), ("Feel", 15.0), ("Move", 10.0)
    ]  # fmt: skip


def test_sums_are_no_stations(tmp_path: Path) -> None:
    path = written(tmp_path, "Student,A,B,Total,Percent,Rank\n1,14,9,23,58,1\n2,12,8,20,50,2\n")
    layout = proposed_layout(read_grid(path))
    assert [s.station for s in layout.stations] == ["A", "B"]


def test_ratings_beside_each_station(tmp_path: Path) -> None:
    path = written(tmp_path, "Student,A,A grade,B,B grade\n1,14,pass,9,good\n2,12,fail,8,pass\n")
    marks = read_marks(path, columns="maximum=20")
    assert marks.table["global_rating"].tolist() == [2.0, 3.0, 0.0, 2.0]


def test_a_workbook_with_a_title_and_merged_cells(tmp_path: Path) -> None:
    book = Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.append(["Summer examination"])
    sheet.append(["Candidate", "Look", None, "Feel", None])
    sheet.append([None, "Score", "Rating", "Score", "Rating"])
    sheet.merge_cells("B2:C2")
    sheet.merge_cells("D2:E2")
    sheet.append([101, 14, "pass", 9.5, "good"])
    sheet.append([102, "absent", None, 8, "pass"])
    path = tmp_path / "marks.xlsx"
    book.save(path)
    marks = read_marks(path, columns="maximum=20")
    assert cell(marks, "101", "Feel") == 9.5
    assert marks.table["mark"].isna().sum() == 1
    assert marks.table["global_rating"].tolist()[:2] == [2.0, 3.0]


def test_a_mistake_in_a_wide_sheet_names_its_row(tmp_path: Path) -> None:
    path = written(tmp_path, "Student,A,B\n1,14,9\n2,25,8\n3,11,many\n4,12,12\n5,13,11\n")
    with pytest.raises(UserErrors, match="row 3, mark: got 25") as caught:
        read_marks(path, columns="maximum=20")
    assert "row 4, mark" in str(caught.value)


def test_a_row_of_a_wide_sheet_can_be_left_out(tmp_path: Path) -> None:
    path = written(tmp_path, "Student,A,B\n1,14,9\n2,15,8\n3,11,10\n")
    marks = read_marks(path, columns="maximum=20", leave_out=frozenset({3}))
    assert set(marks.table["student"]) == {"1", "3"}


def test_every_heading_word_means_one_thing() -> None:
    words = [word for group in WORDS.values() for word in group]
    assert len(words) == len(set(words)) > 150
    assert meaning_of("Prüferin ") == "examiner"
    assert meaning_of("STUDENT_ID") == "student"
    # Note is a grade in German, a mark in French: asked.
    assert meaning_of("Note") == ""


@pytest.mark.parametrize(
    ("typed", "text", "maximum"),
    [("14.4/20", "14.4", 20.0), ("14,4 / 20", "14.4", 20.0), ("72%", "72", 100.0),
     ("9½", "9.5", None), ("½", "0.5", None), ("12 out of 15", "12", 15.0), ("ABS", "", None),
     ("#N/A", "", None), ("-", "", None), ("0", "0", None), ("12", "12", None),
     ("twelve", "twelve", None)],
)  # fmt: skip
def test_marks_as_people_type_them(typed: str, text: str, maximum: float | None) -> None:
    found = mark_cell(typed)
    assert (found.text, found.maximum) == (text, maximum)


HEAD = "student,station,examiner,mark,maximum,global_rating"


def test_marks_typed_loosely_under_our_own_headings(tmp_path: Path) -> None:
    rows = ["1,a,E,14.4/20,20,0", "2,a,E,72%,20,1", "3,a,E,ABS,20,", "4,a,E,9½,20,2.5",
            "5,a,E,#N/A,20,", "6,a,E,-,20,"]  # fmt: skip
    marks = read_marks(written(tmp_path, "\n".join([HEAD, *rows])))
    assert marks.table["mark"].tolist()[:2] == pytest.approx([14.4, 14.4])
    assert marks.table["mark"].isna().tolist() == [False, False, True, False, True, True]
    assert marks.table["global_rating"].tolist()[3] == 2.5
    assert "3 cells say that nobody was there: no marks, never zero." in marks.warnings


def test_a_fraction_of_another_maximum_is_refused(tmp_path: Path) -> None:
    path = written(tmp_path, f"{HEAD}\n1,a,E,14/20,25,pass\n2,a,E,12,25,pass")
    with pytest.raises(UserErrors, match="out of 25, the maximum of its row"):
        read_marks(path)


def test_a_half_above_the_top_rating_is_refused(tmp_path: Path) -> None:
    path = written(tmp_path, f"{HEAD}\n1,a,E,14,20,4.5\n2,a,E,12,20,0")
    with pytest.raises(UserErrors, match="global_rating"):
        read_marks(path)


def test_our_headings_below_a_title(tmp_path: Path) -> None:
    path = written(tmp_path, f"Summer,,,,,\n{HEAD}\n1,a,E,14,20,pass\n2,a,E,12,20,good")
    assert read_marks(path, columns="yes").table["mark"].tolist() == [14.0, 12.0]


def test_our_headings_without_an_examiner(tmp_path: Path) -> None:
    path = written(tmp_path, "student,station,mark,maximum\n1,a,14,20\n2,a,12,20")
    with pytest.raises(UserError, match="examiner=none"):
        read_marks(path)
    assert set(read_marks(path, columns="yes").table["examiner"]) == {"not recorded"}


# ---------------------------------------------------------------- asked


def test_codes_that_look_like_one_are_asked() -> None:
    with pytest.raises(UserErrors, match="move and Move"):
        read_marks(TELLING / "near_duplicates_marks.csv")


def test_codes_are_joined_or_kept_apart_as_told() -> None:
    path = TELLING / "near_duplicates_marks.csv"
    joined, apart = (read_marks(path, alike=a) for a in ("join", "apart"))  # type: ignore[arg-type]
    assert joined.table["station"].nunique() == 6
    assert apart.table["station"].nunique() == 7
    assert "station Move read as move." in joined.warnings


def test_zeros_inside_a_code_are_not_leading() -> None:
    import pandas as pd

    table = pd.DataFrame({name: ["10", "100", "1"] for name in (
        "student", "station", "examiner", "item", "circuit", "session")})  # fmt: skip
    assert settle_codes(table, "x", "ask")[1] == []


def test_all_students_at_zero_is_a_station_of_its_own_kind(tmp_path: Path) -> None:
    head = "student,station,examiner,mark,maximum"
    path = written(tmp_path, f"{head}\n1,a,E,0,10\n1,b,E,0,10\n")
    assert read_marks(path).table["mark"].tolist() == [0.0, 0.0]


# ---------------------------------------------------------------- template


@pytest.mark.parametrize("ending", ["csv", "xlsx"])
def test_the_template_can_be_read_back(tmp_path: Path, ending: str) -> None:
    path = tmp_path / f"marks.{ending}"
    write_template(path)
    marks = read_marks(path)
    assert len(marks.table) == 3
    assert marks.table["mark"].isna().sum() == 1


def test_the_command_writes_a_template(tmp_path: Path) -> None:
    path = tmp_path / "marks.xlsx"
    done = CliRunner().invoke(app, ["marks", "--template", str(path)])
    assert done.exit_code == 0
    assert path.exists()


def test_a_template_of_another_kind_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="ends in"):
        write_template(tmp_path / "marks.pdf")


# ---------------------------------------------------------------- findings


FINDINGS = "patient,item,examiner,value"


@pytest.mark.parametrize(
    ("rows", "match"),
    [
        (["P1,arc,E1,positive", "P2,arc,E1,positive", "P1,arc,E2,present"], "positive, as in most"),
        (["P1,rot,E1,40", "P2,rot,E1,50", "P1,rot,E2,stiff"], "a number, as most findings of rot"),
        (["P1,arc,E1,pos", "P2,arc,E1,neg", "P1,arc,E2,3"], "a word, as most findings of arc"),
        (["P1,rot,E1,40°", "P2,rot,E1,50°", "P1,rot,E2,4 cm"], "the unit of most findings"),
        (["P1,pow,E1,4/5", "P2,pow,E1,5/5", "P1,pow,E2,8/10"], "the scale of most findings"),
        (["P1,pow,E1,4/5", "P2,pow,E1,5/5", "P1,pow,E2,7"], "at most 5"),
        ([f"P{i},note,E1,text {i}x" for i in range(9)], "9 different words"),
    ],
)  # fmt: skip
def test_findings_that_do_not_fit_their_item_are_refused(
    tmp_path: Path, rows: list[str], match: str
) -> None:
    with pytest.raises(UserErrors, match=match):
        read_findings(written(tmp_path, "\n".join([FINDINGS, *rows])))


def test_a_pulse_may_be_normal_weak_or_absent(tmp_path: Path) -> None:
    rows = ["P1,pulse,E1,normal", "P2,pulse,E1,weak", "P1,pulse,E2,absent"]
    found = read_findings(written(tmp_path, "\n".join([FINDINGS, *rows])))
    assert set(found.items[0].words) == {"normal", "weak", "absent"}


def test_check_reads_a_sheet_as_confirmed() -> None:
    from typer.testing import CliRunner

    from sidewise.cli import app

    path = str(EXAMPLES / "telling" / "wide_sheet.csv")
    done = CliRunner().invoke(app, ["check", path, "--columns", "yes"])
    # A sheet without ratings is valid, but incomplete.
    assert done.exit_code == 1
    assert "56 rows, 14 students, 4 stations" in done.output
    assert "valid, but incomplete" in done.output


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [("St01", "st01", True), ("S-1", "S01", True), ("s 017", "S17", True),
     ("S25-0", "S02-50", False), ("25-0", "250", False), ("S105", "S15", False),
     ("A1", "B1", False)],
)  # fmt: skip
def test_codes_are_alike_when_their_words_and_numbers_are(one: str, other: str, same: bool) -> None:
    table = pd.DataFrame({name: [one, other] for name in CODES})
    if same:
        with pytest.raises(UserErrors, match="one spelling for each code"):
            settle_codes(table, "file", codes_answer("ask"))
    else:
        assert settle_codes(table, "file", codes_answer("ask"))[1] == []
