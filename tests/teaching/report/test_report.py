"""The report answers from itself alone; pictures say their values; recalled figures say so."""

from __future__ import annotations

import re
from datetime import date
from html.parser import HTMLParser
from pathlib import Path

import pytest
from typer.testing import CliRunner

from sidewise.cli import app
from sidewise.ground.svg.page_parts import Scale
from sidewise.teaching.examples.example_files import write_examples
from sidewise.teaching.report.page import report_html
from sidewise.teaching.sitting.sitting import Sitting, analyse_sitting
from sidewise.teaching.tables.marks_table import read_marks
from sidewise.teaching.thresholds import MARKS, quoted_thresholds
from tests.teaching.conftest import EXAMPLES

VOID = {"meta", "line", "circle", "polygon", "rect", "polyline"}


class Page(HTMLParser):
    """Tags, pictures' labels and whether everything opened is closed."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def all(self, tag: str) -> list[dict[str, str | None]]:
        return [attrs for name, attrs in self.tags if name == tag]


@pytest.fixture(scope="module")
def text(result: Sitting) -> str:
    return report_html(result)


def test_page_is_well_formed(text: str) -> None:
    page = Page(text)
    assert page.open == []
    assert len(page.all("h1")) == len(page.all("main")) == 1


def test_four_pictures_each_with_its_values(text: str) -> None:
    labels = [svg["aria-label"] or "" for svg in Page(text).all("svg")]
    assert len(labels) == 4
    assert all(svg["role"] == "img" for svg in Page(text).all("svg"))
    assert "power: correlation with the others 0.06" in labels[1]
    assert "E08 -11.0 (-15.7 to -6.3), named by the rule" in labels[2]
    assert "S16 48.0, pass, chance of the other 21%" in labels[0]
    assert "0.76 (0.65 to 0.85) with 8" in labels[3]


def test_the_page_says_which_sitting_and_when(result: Sitting) -> None:
    found = report_html(result, made=date(2026, 11, 9))
    assert "Sitting teaching-week. Made on 9 November 2026. 48 students" in found


def test_nothing_comes_from_elsewhere(text: str) -> None:
    assert not re.search(r"<(script|link|img|iframe)", text)
    assert not re.findall(r'(?:src|href)="', text)


def test_the_questions_of_a_board_are_answered_on_top(text: str) -> None:
    top = text.split("<h2>Stations</h2>")[0]
    for question in (
        "Is the examination reliable enough?",
        "Which station must go?",
        "Where does the pass mark stand?",
        "Whose result is unsure?",
        "Is an examiner severe?",
    ):
        assert question in top
    assert all(student in top for student in ("S16", "S41", "S26"))
    assert "Between 45.5 and 50.1" in top
    assert "E08, by 11 points" in top


def test_basis_is_one_tap_away(text: str) -> None:
    top = text.split("<h2>Decisions</h2>")[0]
    assert top.count("<details>") == 7
    assert "recalled, not read" in top


def test_print_dark_and_forced_colours_are_styled(text: str) -> None:
    for rule in ("@media print", "prefers-color-scheme: dark", "forced-colors: active"):
        assert rule in text


def test_meaning_is_not_by_colour_alone(text: str) -> None:
    assert "diamond" in text
    assert text.count('<polygon class="look"') == 2 + 1 + 3 + 1


def test_unlinked_report_refuses_to_draw_severity(unlinked: Sitting) -> None:
    page = Page(report_html(unlinked))
    assert len(page.all("svg")) == 3
    assert "Nobody is named severe" in report_html(unlinked)


def test_names_are_escaped(result: Sitting, tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text("student,station,examiner,mark,maximum\n<b>&,<i>,E,1,2\n")
    found = report_html(analyse_sitting(read_marks(path)))
    assert "<b>&" not in found
    assert "&lt;b&gt;&amp;" in found


def test_report_of_one_student_is_still_a_page(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text("student,station,examiner,mark,maximum\nS1,look,E1,1,2\n")
    assert Page(report_html(analyse_sitting(read_marks(path)))).open == []


@pytest.mark.parametrize(("low", "high"), [(0, 1), (-3, 17), (44.2, 71.9), (0, 100)])
def test_ticks_are_round_and_inside(low: float, high: float) -> None:
    ticks = Scale(low, high, 0, 100).ticks()
    assert 2 <= len(ticks) <= 11
    assert all(low <= tick <= high for tick in ticks)


# ---------------------------------------------------------------- thresholds


def test_every_threshold_has_a_source_and_one_mark() -> None:
    found = quoted_thresholds()
    for t in found.values():
        assert t.mark in MARKS
        assert t.source
        assert t.words
    assert len(found) == 15


def test_recalled_thresholds_are_shown_as_recalled() -> None:
    recalled = [t for t in quoted_thresholds().values() if t.mark == "memory"]
    assert all("recalled, not read" in t.basis() for t in recalled)
    assert len(recalled) == 9


# ---------------------------------------------------------------- commands and examples


def test_marks_command(result: Sitting) -> None:
    run = CliRunner().invoke(app, ["marks", str(EXAMPLES / "teaching_week_marks.csv")])
    assert run.exit_code == 0
    assert "Which station must go?  power" in run.stdout


def test_marks_command_writes_a_report(tmp_path: Path) -> None:
    place = tmp_path / "r.html"
    file = str(EXAMPLES / "teaching_week_marks.csv")
    run = CliRunner().invoke(app, ["marks", file, "--html", str(place), "--draws", "0"])
    assert run.exit_code == 0
    assert place.read_text().startswith("<!doctype html>")


def test_marks_command_with_judges() -> None:
    run = CliRunner().invoke(
        app,
        ["marks", str(EXAMPLES / "teaching_week_marks.csv"), "--method", "angoff",
         "--angoff", str(EXAMPLES / "teaching_week_judges.csv"), "--json"],
    )  # fmt: skip
    assert run.exit_code == 0
    assert '"method": "angoff"' in run.stdout


def test_agree_command() -> None:
    run = CliRunner().invoke(app, ["agree", str(EXAMPLES / "teaching_week_findings.csv")])
    assert run.exit_code == 0
    assert "E03 on CURLEW-3" in run.stdout


def test_examples_are_what_the_generator_writes(tmp_path: Path) -> None:
    write_examples(tmp_path)
    names = sorted(p.relative_to(tmp_path) for p in tmp_path.rglob("*.csv"))
    assert len(names) == 27
    for name in names:
        assert (tmp_path / name).read_bytes() == (EXAMPLES / name).read_bytes(), name
