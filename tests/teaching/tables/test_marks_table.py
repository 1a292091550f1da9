"""Reading tables of marks: what is accepted, what is refused and how it is said."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from sidewise.errors import UserError, UserErrors
from sidewise.teaching.examples.example_files import as_written
from sidewise.teaching.sitting.options import row_numbers
from sidewise.teaching.tables.columns import RatingScale, rating_scale
from sidewise.teaching.tables.marks_table import Marks, check_marks, read_marks
from sidewise.teaching.tables.row_checks import trim_text
from sidewise.teaching.tables.scores import station_scores
from tests.teaching.conftest import EXAMPLES

HEAD = "student,station,examiner,item,mark,maximum,global_rating"


def written(folder: Path, *rows: str, head: str = HEAD, encoding: str = "utf-8") -> Path:
    path = folder / "marks.csv"
    path.write_bytes("\n".join([head, *rows, ""]).encode(encoding))
    return path


def refused(folder: Path, *rows: str, head: str = HEAD) -> str:
    with pytest.raises(UserError) as caught:
        read_marks(written(folder, *rows, head=head))
    return caught.value.message


# ---------------------------------------------------------------- accepted


def same(first: Marks, second: Marks) -> bool:
    return first.table.equals(second.table)


def test_csv_xlsx_and_parquet_are_the_same(tmp_path: Path, small: pd.DataFrame) -> None:
    table = as_written(small)
    table.to_csv(tmp_path / "a.csv", index=False)
    small.to_excel(tmp_path / "a.xlsx", index=False)
    small.to_parquet(tmp_path / "a.parquet")
    text, sheet, parquet = (read_marks(tmp_path / f"a.{k}") for k in ("csv", "xlsx", "parquet"))
    assert same(text, sheet)
    assert same(text, parquet)


def test_leading_zeros_of_codes_survive(tmp_path: Path) -> None:
    marks = read_marks(written(tmp_path, "007,look,E1,a,1,2,pass"))
    assert marks.table["student"].tolist() == ["007"]


def test_whole_numbers_in_a_sheet_stay_whole(tmp_path: Path) -> None:
    frame = pd.DataFrame(
        {"student": [12, 13], "station": 1, "examiner": 4, "mark": 1, "maximum": 2}
    )
    frame.to_excel(tmp_path / "a.xlsx", index=False)
    assert read_marks(tmp_path / "a.xlsx").table["student"].tolist() == ["12", "13"]


def test_the_kind_is_told_from_content_not_name(tmp_path: Path, small: pd.DataFrame) -> None:
    small.to_parquet(tmp_path / "really.csv")
    assert read_marks(tmp_path / "really.csv").rows == len(small)


def test_semicolons_and_decimal_commas(tmp_path: Path) -> None:
    head = HEAD.replace(",", ";")
    marks = read_marks(written(tmp_path, "S1;look;E1;a;1,5;2;pass", head=head))
    assert marks.table["mark"].tolist() == [1.5]
    assert "1 decimal commas read in mark." in marks.warnings


def test_quoted_decimal_comma(tmp_path: Path) -> None:
    marks = read_marks(written(tmp_path, 'S1,look,E1,a,"1,5",2,pass'))
    assert marks.table["mark"].tolist() == [1.5]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_encodings_of_unicode(tmp_path: Path, encoding: str) -> None:
    marks = read_marks(written(tmp_path, "S1,Prüfung,E1,a,1,2,pass", encoding=encoding))
    assert marks.table["station"].tolist() == ["Prüfung"]
    assert marks.warnings == ()


def test_western_encoding_is_read_and_said(tmp_path: Path) -> None:
    marks = read_marks(written(tmp_path, "S1,Prüfung,E1,a,1,2,pass", encoding="cp1252"))
    assert marks.table["station"].tolist() == ["Prüfung"]
    assert "not UTF-8" in marks.warnings[0]


def test_headings_in_any_case_and_spacing(tmp_path: Path) -> None:
    head = "Student, Station ,EXAMINER,Item,Mark,Maximum,Global Rating"
    marks = read_marks(written(tmp_path, "S1,look,E1,a,1,2,Pass", head=head))
    assert marks.table["global_rating"].tolist() == [2.0]


def test_ratings_by_place(tmp_path: Path) -> None:
    marks = read_marks(written(tmp_path, "S1,look,E1,a,1,2,3", "S2,look,E1,a,1,2,0"))
    assert marks.table["global_rating"].tolist() == [3.0, 0.0]


def test_own_words_for_ratings(tmp_path: Path) -> None:
    scale = rating_scale("1,2,3,4", "2")
    marks = read_marks(written(tmp_path, "S1,look,E1,a,1,2,1"), scale=scale)
    # The word wins over the place: "1" is the lowest word here.
    assert marks.table["global_rating"].tolist() == [0.0]


def test_borderline_must_be_one_of_the_words() -> None:
    with pytest.raises(UserError, match="Say with --borderline"):
        rating_scale("poor,fair,good", None)


def test_a_blank_mark_is_not_a_zero(tmp_path: Path) -> None:
    marks = read_marks(written(tmp_path, "S1,look,E1,a,,2,pass", "S1,look,E1,b,2,2,pass"))
    assert np.isnan(marks.table["mark"].iloc[0])
    assert np.isnan(station_scores(marks.table)["score"].iloc[0])


def test_blank_lines_keep_row_numbers(tmp_path: Path) -> None:
    path = written(tmp_path, "", "S1,look,E1,a,9,2,pass")
    with pytest.raises(UserErrors, match="row 3, mark"):
        read_marks(path)


def test_rows_left_out_on_request(tmp_path: Path) -> None:
    path = written(tmp_path, "S1,look,E1,a,9,2,pass", "S1,look,E1,b,2,2,pass")
    marks = read_marks(path, leave_out=row_numbers("2"))
    assert marks.rows == 1
    assert "1 rows left out on request: 2." in marks.warnings


def test_ranges_of_rows() -> None:
    assert row_numbers("17, 45-47") == {17, 45, 46, 47}
    with pytest.raises(UserError, match="a row or a range"):
        row_numbers("17-")


def test_unknown_columns_are_named(tmp_path: Path) -> None:
    marks = read_marks(written(tmp_path, "S1,look,E1,a,1,2,pass,9", head=f"{HEAD},age"))
    assert "Columns not used: age." in marks.warnings


# ---------------------------------------------------------------- refused


def test_mark_above_maximum(tmp_path: Path) -> None:
    message = refused(tmp_path, "S1,look,E1,a,2,2,pass", "S1,look,E1,b,2.1,2,pass")
    assert message.startswith("marks.csv: row 3, mark: got 2.1, expected 0 to 2, the maximum.")


def test_negative_mark(tmp_path: Path) -> None:
    assert "row 2, mark: got -1.0, expected 0 or more" in refused(tmp_path, "S1,look,E1,a,-1,2,")


def test_maximum_of_zero(tmp_path: Path) -> None:
    assert "row 2, maximum: got 0.0, expected more than 0" in refused(tmp_path, "S1,l,E1,a,0,0,")


def test_duplicate_names_both_rows(tmp_path: Path) -> None:
    row = "S1,look,E1,a,1,2,pass"
    message = refused(tmp_path, row, "S1,look,E1,b,1,2,pass", row)
    assert 'row 4, item: got "S1, look, E1, a a second time", expected once (row 2)' in message
    assert "--leave-out 4" in message


def test_unknown_rating_rows_are_said_together(tmp_path: Path) -> None:
    message = refused(tmp_path, "S1,look,E1,a,1,2,meh", "S2,look,E1,a,1,2,meh")
    assert 'rows 2 to 3, global_rating: got "meh", expected one of: fail, borderline' in message


def test_missing_examiner(tmp_path: Path) -> None:
    assert "row 2, examiner: got nothing" in refused(tmp_path, "S1,look,,a,1,2,pass")


def test_date_in_a_mark(tmp_path: Path) -> None:
    assert "a number, not a date" in refused(tmp_path, "S1,look,E1,a,02-Jan,2,pass")


def test_date_in_a_student(tmp_path: Path) -> None:
    assert "a code, not a date" in refused(tmp_path, "2026-01-02,look,E1,a,1,2,pass")


def test_date_cell_of_a_workbook(tmp_path: Path) -> None:
    frame = pd.DataFrame(
        {"student": ["S1"], "station": ["look"], "examiner": ["E1"],
         "mark": [pd.Timestamp("2026-01-02")], "maximum": [2]}
    )  # fmt: skip
    frame.to_excel(tmp_path / "a.xlsx", index=False)
    with pytest.raises(UserErrors, match='row 2, mark: got "2026-01-02"'):
        read_marks(tmp_path / "a.xlsx")


def test_two_ratings_of_one_performance(tmp_path: Path) -> None:
    message = refused(tmp_path, "S1,look,E1,a,1,2,pass", "S1,look,E1,b,1,2,fail")
    assert "row 3, global_rating" in message
    assert "as in row 2" in message


def test_two_maxima_of_one_item(tmp_path: Path) -> None:
    message = refused(tmp_path, "S1,look,E1,a,1,2,pass", "S2,look,E1,a,1,3,pass")
    assert "row 3, maximum: got 3.0, expected 2.0, as in row 2 of the same item" in message


def test_missing_column_is_named(tmp_path: Path) -> None:
    message = refused(tmp_path, "S1,look", head="student,station")
    assert "also examiner, mark, maximum" in message


def test_too_many_cells(tmp_path: Path) -> None:
    message = refused(tmp_path, "S1,look,E1,a,1,2,pass", "S1,look,E1,b,1,2,pass,and,more")
    assert "row 3: got" in message
    assert "quotation marks" in message


def test_too_many_cells_in_the_first_row(tmp_path: Path) -> None:
    assert "does not parse" in refused(tmp_path, "S1,look,E1,a,1,2,pass,and,more")


def test_empty_file(tmp_path: Path) -> None:
    (tmp_path / "e.csv").write_text("")
    with pytest.raises(UserError, match="an empty file"):
        read_marks(tmp_path / "e.csv")


def test_no_such_file(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="a file that can be read"):
        read_marks(tmp_path / "nothing.csv")


def test_old_workbook_is_refused_with_a_remedy(tmp_path: Path) -> None:
    (tmp_path / "a.xls").write_bytes(b"\xd0\xcf\x11\xe0 and more")
    with pytest.raises(UserError, match="save it as XLSX or CSV"):
        read_marks(tmp_path / "a.xls")


def test_a_broken_workbook(tmp_path: Path) -> None:
    (tmp_path / "a.xlsx").write_bytes(b"PK\x03\x04 and nothing more")
    with pytest.raises(UserError, match="does not open"):
        read_marks(tmp_path / "a.xlsx")


def test_binary_data(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_bytes(b"student\x00\x01\x02")
    with pytest.raises(UserError, match="binary data"):
        read_marks(tmp_path / "a.csv")


def test_every_mistake_is_found_in_one_reading(tmp_path: Path) -> None:
    with pytest.raises(UserErrors) as caught:
        read_marks(written(tmp_path, "S1,look,,a,9,2,pass", "S2,look,E1,a,x,2,meh"))
    assert len(caught.value.errors) == 4


def test_every_broken_example_is_refused() -> None:
    files = sorted((EXAMPLES / "broken").glob("*.csv"))
    for path in files:
        with pytest.raises(UserError):
            read_marks(path)
    assert len(files) == 6


# ---------------------------------------------------------------- check


def test_check_of_a_complete_table() -> None:
    found = check_marks(EXAMPLES / "teaching_week_marks.csv")
    assert (found.complete, found.students, found.stations, found.examiners) == (True, 48, 8, 16)
    assert found.text().endswith("complete.")


def test_check_of_an_incomplete_table() -> None:
    found = check_marks(EXAMPLES / "teaching_week_incomplete_marks.csv")
    assert not found.complete
    assert "2 marks are blank" in found.text()
    assert "1 times a student has no marks at a station" in found.text()


def test_scale_words_must_differ() -> None:
    with pytest.raises(UserError, match="two different words"):
        RatingScale(("pass", "Pass"), 0)


@pytest.mark.parametrize("cells", [
    ["a", "b", "a"], [" a", "a", "b ", "a ", ""], ["  ", "", "x"], ["\u00a0a", "a\t", "a b"], [],
])  # fmt: skip
def test_cells_are_trimmed_as_one_by_one(cells: list[str]) -> None:
    text = pd.Series(cells, index=range(2, 2 + len(cells)), dtype=str, name="student")
    pd.testing.assert_series_equal(trim_text(text), text.str.strip())
