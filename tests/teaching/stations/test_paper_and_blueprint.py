"""Paper sheets typed back, the pack to print, and what a set of stations covers."""

from __future__ import annotations

import csv
import io
from html import escape
from html.parser import HTMLParser

import pytest

from sidewise.errors import UserErrors
from sidewise.teaching.report.station_pack import mark_sheets_page, pack_page
from sidewise.teaching.stations.blueprint import blueprint, blueprint_lines
from sidewise.teaching.stations.paper_marks import (
    entry_columns,
    entry_table,
    marks_csv,
    typed_sheets,
)
from sidewise.teaching.stations.station import Station
from sidewise.teaching.stations.station_file import parse_station
from sidewise.teaching.stations.station_set import read_stations
from sidewise.teaching.tables.marks_table import read_marks
from sidewise.teaching.tables.scores import score_sheet, station_scores
from tests.shoulder import REGIONS, SHOULDER
from tests.teaching.stations.test_station_files import EXAMPLES, plain


@pytest.fixture(scope="module")
def stations() -> tuple[Station, ...]:
    return read_stations(EXAMPLES, REGIONS)


@pytest.fixture(scope="module")
def small() -> Station:
    """Both sides (weight 2), manner (weight 1)."""
    return parse_station(plain(), "turn.yaml")


def typed(*rows: str) -> str:
    return "\n".join(("circuit,session,examiner,student,a,b,rating,critical,comment", *rows)) + "\n"


def test_points_by_hand(small: Station) -> None:
    found = typed_sheets(small, typed("A,1,E1,101,1,2,pass,,kind", "A,1,E1,102,0,1,fail,yes,"), "t")
    marks = [(r["student"], r["item"], r["mark"], r["maximum"]) for r in found.rows]
    # Half of 2, all of 1; none of 2, half of 1.
    assert marks == [("101", "a", "1", "2"), ("101", "b", "1", "1"),
                     ("102", "a", "0", "2"), ("102", "b", "0.5", "1")]  # fmt: skip
    assert [r["critical_error"] for r in found.rows] == ["", "", "yes", "yes"]


def test_an_empty_box_is_missing_and_never_zero(small: Station, tmp_path) -> None:
    found = typed_sheets(small, typed("A,1,E1,101,,2,pass,,"), "t")
    assert found.rows[0]["mark"] == ""
    assert "none is read as zero" in found.warnings[0]


def test_what_was_typed_is_what_the_analysis_reads(small: Station, tmp_path) -> None:
    rows = [f"A,1,E{k % 3},{100 + k},{k % 3},{(k + 1) % 3},pass,,say {k}" for k in range(12)]
    path = tmp_path / "marks.csv"
    path.write_text(marks_csv(typed_sheets(small, typed(*rows), "t", sitting="spring").rows))
    marks = read_marks(path)
    assert marks.rows == 24
    scores = station_scores(marks.table)
    # By hand: a counts k%3 of 2 points (each box is one), b (k+1)%3 halves of 1.
    expected = [100 * (k % 3 + (k + 1) % 3 / 2) / 3 for k in range(12)]
    assert scores["score"].tolist() == pytest.approx(expected)
    assert score_sheet(scores).stations == ("turn",)
    assert set(scores["sitting"]) == {"spring"}


def test_words_of_the_boxes_are_read_too(small: Station) -> None:
    row = 'A,1,E1,101,"Both sides, compared",at times,good,no,'
    assert [r["mark"] for r in typed_sheets(small, typed(row), "t").rows] == ["2", "0.5"]


def test_every_wrong_cell_is_named_with_line_and_column(small: Station) -> None:
    text = typed("A,1,E1,101,3,2,pass,,", "A,1,,102,2,2,great,perhaps,", "A,1,E1,101,2,2,pass,,")
    with pytest.raises(UserErrors) as refused:
        typed_sheets(small, text, "t.csv")
    places = [error.where for error in refused.value.errors]
    assert places == ["t.csv: line 2, a", "t.csv: line 3, examiner", "t.csv: line 3, rating",
                      "t.csv: line 3, critical", "t.csv: line 4, student"]  # fmt: skip


def test_a_box_that_the_sheet_does_not_have_is_refused() -> None:
    steps = [{"id": "a", "text": "x", "weight": 3, "partly": None}]
    station = parse_station(plain(steps=steps), "turn.yaml")
    head = ",".join(entry_columns(station))
    with pytest.raises(UserErrors, match=r"2 .done. or 0 .not done."):
        typed_sheets(station, f"{head}\nA,1,E1,101,1,pass,,\n", "t.csv")


def test_a_number_that_nobody_has_is_named(small: Station) -> None:
    with pytest.raises(UserErrors, match="a number of this sitting"):
        typed_sheets(small, typed("A,1,E1,999,2,2,pass,,"), "t", students={"101"})


def test_a_table_of_another_version_is_refused(small: Station, stations) -> None:
    with pytest.raises(Exception, match="Write the entry table of this version"):
        typed_sheets(small, entry_table(stations[0]), "t.csv")


def test_a_row_of_zeros_is_asked_about(small: Station) -> None:
    found = typed_sheets(small, typed("A,1,E1,101,0,0,fail,,"), "t")
    assert "an absence is no zero" in found.warnings[-1]


def test_no_typed_cell_becomes_a_formula(small: Station) -> None:
    found = typed_sheets(small, typed("A,1,E1,101,2,2,pass,,=1+1"), "t")
    comment = next(csv.DictReader(io.StringIO(marks_csv(found.rows))))["comment"]
    assert comment == "'=1+1"


class _Boxes(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.boxes = self.rows = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.rows += tag == "tr"
        self.boxes += ("class", "box") in attrs


def test_the_pack_has_a_line_and_boxes_for_every_step(stations) -> None:
    page, found = pack_page(stations), _Boxes()
    found.feed(page)
    steps = [step for station in stations for step in station.steps]
    others = sum(len(s.rating.words) + len(s.critical) for s in stations)
    assert found.rows == len(steps) + len(stations)
    assert found.boxes == sum(len(step.words) for step in steps) + others
    assert all(escape(station.actor.splitlines()[0]) in page for station in stations)


def test_a_task_cannot_run_as_a_script() -> None:
    station = parse_station(plain(candidate="<script>x</script>"), "turn.yaml")
    assert "<script>" not in pack_page([station])


def test_sheets_of_the_day_bear_the_numbers(small: Station) -> None:
    page = mark_sheets_page([small], [("A", "1", "E1", "101"), ("A", "1", "E1", "102")])
    assert page.count("<section>") == 2
    assert page.count(">102&nbsp;<") == 1


def test_shares_of_a_blueprint_are_those_of_the_marks(stations) -> None:
    found = blueprint(stations, SHOULDER)
    for rows in (found.stages, found.skills):
        assert sum(row.share for row in rows) == pytest.approx(1)
    # By hand: both sides 11 of 20, 8 of 16 and none of 12 points, each station a third.
    assert found.both_sides.share == pytest.approx((11 / 20 + 8 / 16) / 3)
    assert found.both_sides.stations == ("lifting", "stiff")


def test_gaps_name_what_nothing_covers(stations) -> None:
    found = blueprint(stations, SHOULDER, {"cuff": "cuff", "lone": "a condition apart"})
    assert "No station is about: a condition apart." in found.gaps
    assert any("screens for a red flag" in gap for gap in found.gaps)
    assert any(line.startswith("Gaps") for line in blueprint_lines(found))


def test_a_set_without_sides_or_manner_says_so() -> None:
    steps = [{"id": "a", "text": "x", "weight": 3}]
    station = parse_station(plain(steps=steps), "turn.yaml")
    assert len(blueprint([station]).gaps) == 2
