"""A sheet is dropped: kept and settled, kept and asked about, or refused with nothing kept."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

import pandas as pd
import pytest

from sidewise.errors import UserError
from sidewise.teaching.tables.marks_table import read_marks
from sidewise.teaching.tables.sheet_upload import LIMITS, uploaded_grid
from sidewise.web.marks import store
from sidewise.web.marks.models import (
    KeptSitting,
    MarksSheet,
    Settlement,
    SheetRows,
    SittingStudent,
)
from tests.web.marks.room import filled, long_sheet, send, told, wide_sheet

EXAMPLES = Path(__file__).parents[3] / "examples" / "marks"
TABLES = (KeptSitting, MarksSheet, SheetRows, SittingStudent, Settlement)
PARTS = {"where", "got", "expected", "what to do"}


def _counts():
    return [model.objects.count() for model in TABLES]


def test_a_sheet_with_our_headings_is_kept_and_settled_at_once(room):
    assert room.latest.number == 1
    assert room.latest.answers == {}
    assert room.latest.reason == "nothing was asked"
    assert room.latest.by == "TEACHER"


def test_the_kept_table_is_the_sheet_again_cell_by_cell(room):
    grid = store.grid_of(store.latest_sheet(room.sitting))
    lines = long_sheet().decode().splitlines()
    assert [",".join(row) for row in grid.rows] == lines
    assert room.sitting.students.count() == 12
    assert store.erased_rows(store.latest_sheet(room.sitting)) == 0


@pytest.mark.parametrize("name", sorted(p.name for p in (EXAMPLES / "broken").glob("*.csv")))
def test_a_bad_sheet_is_told_in_parts_and_nothing_of_it_is_kept(room, name):
    before = _counts()
    answer = send(room.client("owner"), (EXAMPLES / "broken" / name).read_bytes())
    if name == "unknown_rating_marks.csv":
        # The words of one's own scale are asked for, so that sheet is kept.
        assert answer.status_code == 302
        return
    assert answer.status_code == 422
    found = told(answer)
    assert found
    assert all({"where", "got", "expected"} <= set(parts) <= PARTS for parts in found)
    assert _counts() == before


def test_every_mistake_of_a_sheet_is_told_at_once(room):
    cells = {(1, "look"): "25", (2, "feel"): "many", (3, "move"): "-4"}
    answer = send(room.client("owner"), long_sheet(cells=cells))
    assert answer.status_code == 422
    assert [parts["where"].split(": ")[1] for parts in told(answer)] == [
        "row 2, mark", "row 7, mark", "row 12, mark"
    ]  # fmt: skip


def test_a_sheet_in_another_layout_is_kept_and_waits_to_be_settled(room):
    sitting = room.bring(wide_sheet(), "messy")
    assert sitting.settlements.count() == 0
    page = room.client("owner").get(f"/marks/{sitting.key}/", follow=True)
    assert page.redirect_chain == [(f"/marks/{sitting.key}/settle/", 302)]
    text = page.content.decode()
    assert "It seems to have a row for each student, 4 stations" in text
    assert "1 cells say that nobody was there: no marks, never zero." in text
    assert "Rows that are no students left out: 4, 17." in text


def test_the_proposal_confirmed_reads_the_sheet_as_the_command_does(room, tmp_path):
    sitting, client = room.bring(wide_sheet(), "messy"), room.client("owner")
    address = f"/marks/{sitting.key}/settle/"
    assert client.post(address, filled(client.get(address))).status_code == 302
    settled = sitting.settlements.get()
    path = tmp_path / "week.csv"
    path.write_bytes(wide_sheet())
    command = read_marks(path, columns="yes")
    page = read_marks(path, columns=settled.answers["columns"])
    assert page.table.equals(command.table)
    assert len(page.table) == 48


def test_a_column_taken_for_something_else_is_said_by_the_form(room):
    sitting, client = room.bring(wide_sheet(), "messy"), room.client("owner")
    address = f"/marks/{sitting.key}/settle/"
    data = filled(client.get(address), **{"station-4": None, "most-1": "25"})
    assert client.post(address, data).status_code == 302
    words = sitting.settlements.get().answers["columns"]
    assert "stations=Look|Feel|Move; " in words
    assert "maximum=25|20|20; " in words


def test_answers_that_leave_something_open_settle_nothing(room):
    sitting, client = room.bring(wide_sheet(), "messy"), room.client("owner")
    address = f"/marks/{sitting.key}/settle/"
    answer = client.post(address, filled(client.get(address), **{"most-1": None}))
    assert answer.status_code == 422
    assert told(answer)[0]["expected"] == "the highest mark at Look"
    assert sitting.settlements.count() == 0
    # What was typed is still there.
    assert answer.context["form"]["most-2"].value() == "20"


QUESTIONS = {
    "near_duplicates_marks.csv": ("codes", "join"),
    "zeros_for_absent_marks.csv": ("zeros", "absent"),
    "numbered_from_one_marks.csv": ("ratings_from", "1"),
}


@pytest.mark.parametrize("name", sorted(QUESTIONS))
def test_what_cannot_be_guessed_is_asked_and_settled_by_its_option(room, name):
    option, answer = QUESTIONS[name]
    path = EXAMPLES / "telling" / name
    sitting, client = room.bring(path.read_bytes(), name), room.client("owner")
    address = f"/marks/{sitting.key}/settle/"
    page = client.get(address)
    assert option in page.context["form"].choices
    # Nothing is chosen beforehand: it is a question.
    assert client.post(address, filled(page)).status_code == 422
    assert sitting.settlements.count() == 0
    assert client.post(address, {**filled(page), option: answer}).status_code == 302
    assert sitting.settlements.get().answers == {option: answer}


def test_the_words_of_the_rating_are_asked_where_they_are_not_known(room):
    data = (EXAMPLES / "broken" / "unknown_rating_marks.csv").read_bytes()
    sitting, client = room.bring(data, "words"), room.client("owner")
    page = client.get(f"/marks/{sitting.key}/settle/")
    assert page.context["form"].asks_for_words
    assert "The words of your rating" in page.content.decode()


@pytest.mark.parametrize(
    ("data", "what"),
    [
        (b"", "an empty file"),
        (b"PK\x03\x04 no archive", "a workbook that does not open"),
        (b"PAR1 and more", "a Parquet file that does not open"),
        (b"\xd0\xcf\x11\xe0 and more", "a file of another kind"),
        (b"a,b\n\x00\x00,1\n", "binary data"),
        (b"a" * 3000 + b",b\n1,2\n", "3,000 letters in one cell"),
        (b"," * 2000 + b"\n1\n", "2,001 columns"),
        (b"student,mark\n" + b"1\n" * 130_000, "130,002 lines"),
    ],
)
def test_what_is_no_sheet_or_too_large_is_refused_in_words(room, data, what):
    before = _counts()
    answer = send(room.client("owner"), data)
    assert answer.status_code == 422
    assert what in told(answer)[0]["got"].replace("&quot;", "")
    assert _counts() == before


def _parquet(frame):
    packed = io.BytesIO()
    frame.to_parquet(packed)
    return packed.getvalue()


def test_a_parquet_file_is_kept_as_the_same_sheet_in_text_is(room):
    frame = pd.read_csv(io.BytesIO(long_sheet()))
    made = room.bring(_parquet(frame), "as Parquet")
    grids = [store.grid_of(store.latest_sheet(one)).rows for one in (room.sitting, made)]
    assert grids[0] == grids[1]
    assert made.settlements.get().answers == {}


@pytest.mark.parametrize(("frame", "what"), [
    (pd.DataFrame({"student": ["S1"] * 70_000}), "70,000 rows"),
    (pd.DataFrame({f"c{k}": [1] for k in range(401)}), "401 columns"),
    (pd.DataFrame({f"c{k}": [1] * 4_000 for k in range(301)}), "1,204,000 cells"),
    (pd.DataFrame({"student": ["S" * 26_000_000]}), "bytes unpacked"),
    (pd.DataFrame({"student": ["S" * 2_001]}), "2,001 letters in one cell"),
])  # fmt: skip
def test_a_parquet_file_is_measured_by_its_footer_first(frame, what):
    data = _parquet(frame)
    assert len(data) < LIMITS.sent
    with pytest.raises(UserError) as caught:
        uploaded_grid("week.parquet", data)
    assert what in str(caught.value.got)


def _workbook(rows):
    from openpyxl import Workbook

    book = Workbook()
    for place, value in rows.items():
        book.active[place] = value
    packed = io.BytesIO()
    book.save(packed)
    return packed.getvalue()


def test_one_cell_at_the_far_corner_of_a_sheet_is_refused(room):
    data = _workbook({"A1": "student", "XFD1048576": "1"})
    assert len(data) < 10_000
    answer = send(room.client("owner"), data, name="week.xlsx")
    assert answer.status_code == 422
    assert "at most" in told(answer)[0]["expected"]


def test_a_workbook_that_unpacks_to_more_than_is_taken_is_refused(room):
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/worksheets/sheet1.xml", b" " * 30_000_000)
    assert len(packed.getvalue()) < 100_000
    answer = send(room.client("owner"), packed.getvalue(), name="week.xlsx")
    assert told(answer)[0]["got"] == "&quot;30 MB when unpacked&quot;"


def test_styles_larger_than_any_sheet_needs_are_refused(room):
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/styles.xml", b"<xf/>" * 1_200_000)
    answer = send(room.client("owner"), packed.getvalue(), name="week.xlsx")
    assert "bytes beside the sheets" in told(answer)[0]["got"]


def test_a_request_above_the_limit_is_not_read_into_memory(room, settings):
    settings.FILE_UPLOAD_MAX_MEMORY_SIZE = 2_000
    before = _counts()
    answer = send(room.client("owner"), long_sheet(40))
    assert answer.status_code == 422
    assert told(answer)[0]["expected"] == "at most 2,000 bytes"
    assert _counts() == before


def test_a_workbook_is_kept_as_the_same_cells_as_its_text(room):
    rows = [line.split(",") for line in long_sheet().decode().splitlines()]
    places = {f"{'ABCDEF'[k]}{n}": cell for n, row in enumerate(rows, 1)
              for k, cell in enumerate(row)}  # fmt: skip
    sitting = room.bring(_workbook(places), "workbook")
    assert store.grid_of(store.latest_sheet(sitting)).rows == tuple(map(tuple, rows))


def test_names_in_a_sheet_are_not_kept(room):
    lines = long_sheet().decode().splitlines()
    named = [f"{line},{'Surname' if n == 0 else 'Curlew'}" for n, line in enumerate(lines)]
    sitting = room.bring("\n".join(named).encode(), "named")
    sheet = store.latest_sheet(sitting)
    assert "Curlew" not in repr(store.grid_of(sheet).rows)
    assert sheet.notes == ["Names are not kept (Surname): codes are enough."]


def test_a_title_is_needed_and_seen(room):
    for title in ("", "week\u200b"):
        answer = send(room.client("owner"), long_sheet(), title)
        assert answer.status_code == 422
    assert KeptSitting.objects.count() == 1


def test_what_a_sheet_says_is_never_markup(room):
    evil = "<script>alert(1)</script>"
    data = long_sheet().decode().replace("look", evil).replace("S03", f"S03{evil}").encode()
    sitting, client = room.bring(data, f"week {evil}"), room.client("owner")
    from tests.web.marks.room import shown

    address, swept = f"/marks/{sitting.key}/", 0
    for part in ("", "settle/", "rules/", "log/", "tables/1/", "accounts/", "replace/",
                 "versions/1/report/", "versions/1/decisions/", "versions/1/letters/",
                 "versions/1/file/report/"):  # fmt: skip
        answer = shown(client, address + part)
        assert answer.status_code == 200, part
        assert evil not in answer.content.decode(), part
        swept += 1
    assert swept == 11
