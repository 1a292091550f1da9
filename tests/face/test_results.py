"""Results of the face: short in a line, whole as frames, safe as HTML, flags always beside."""

from __future__ import annotations

import sys
from functools import cache
from pathlib import Path
from typing import Any

import pytest

import sidewise
from sidewise.errors import UserError
from sidewise.ground.result_view import Shown, Table, View, cell_text, html_table

EXAMPLES = Path(__file__).parents[2] / "examples"
WEEK = EXAMPLES / "marks"
TABLES = {
    "interpretation": ["conditions", "red_flags", "differences", "norms", "next", "not_examined"],
    "follow-up": ["changes", "readings", "scales", "differences"],
    "sitting": ["stations", "students", "pass_marks"],
    "hands": ["items", "examiners"],
    "register": ["records", "set_aside"],
}


@cache
def result(name: str) -> Any:
    if name == "interpretation":
        return sidewise.interpret(record("hot-joint"), draws=100)
    if name == "follow-up":
        return sidewise.follow([record(f"visits/heron_visit{n}") for n in (1, 2, 3)])
    if name == "sitting":
        return sidewise.analyse_marks(WEEK / "teaching_week_marks.csv", draws=0)
    if name == "hands":
        return sidewise.agree(WEEK / "teaching_week_findings.csv")
    return sidewise.read_register(EXAMPLES)


def record(name: str) -> Any:
    return sidewise.read_record(EXAMPLES / f"{name}.json")


@pytest.mark.parametrize("name", TABLES)
def test_a_result_is_one_short_line(name: str) -> None:
    line = repr(result(name))
    assert "\n" not in line
    assert len(line) < 500


@pytest.mark.parametrize("name", TABLES)
def test_every_table_is_a_frame_with_its_columns(name: str) -> None:
    view = result(name).view()
    assert list(view.tables) == TABLES[name]
    for table, shape in view.tables.items():
        frame = result(name).to_frame(table)
        assert tuple(frame.columns) == shape.columns
        assert len(frame) == len(shape.rows())
        assert all(set(row) <= set(shape.columns) for row in shape.rows())
        assert frame.attrs["cautions"] == list(view.cautions)
    assert result(name).to_frame().equals(result(name).to_frame(TABLES[name][0]))


@pytest.mark.parametrize("name", TABLES)
def test_another_table_names_those_there_are(name: str) -> None:
    with pytest.raises(UserError, match=f"expected one of {', '.join(TABLES[name])}"):
        result(name).to_frame("diagnoses")


@pytest.mark.parametrize("name", TABLES)
def test_without_pandas_the_command_that_adds_it_is_said(
    name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    found = result(name)
    monkeypatch.setitem(sys.modules, "pandas", None)
    with pytest.raises(
        UserError, match=r"not installed here: pandas.*\nAdd it with: .*'sidewise\[batch\]'"
    ):
        found.to_frame()
    assert "<table>" in found._repr_html_()


def test_the_frame_says_what_the_result_says() -> None:
    found = result("interpretation")
    frame = found.to_frame()
    assert len(frame) == sum(len(s.conditions) for s in (*found.sides.values(), found.whole_person))
    first = next(one for one in found.sides["left"].conditions if one.posterior is not None)
    row = frame[(frame.side == "left") & (frame.condition == first.condition)].iloc[0]
    assert (row.posterior, row.low, row.high) == (first.posterior, first.low, first.high)


def test_no_probability_stands_without_the_flags_of_its_record() -> None:
    frame = result("interpretation").to_frame()
    assert frame.flags_raised.str.contains("hot, swollen joint").all()
    assert frame.flags_not_excluded.str.len().gt(0).all()


def test_flags_come_before_any_probability_in_line_and_page() -> None:
    found = result("interpretation")
    assert repr(found).index("RAISED: hot, swollen joint") < repr(found).index("most probable")
    page = found._repr_html_()
    assert page.index("RAISED (emergency)") < page.index("<table>")
    assert "Not examined (essential)" in page
    assert "it does not diagnose" in page


def test_under_18_there_are_flags_and_no_row_of_probability() -> None:
    child = record("hot-joint")
    child = child.model_copy(update={"context": child.context.model_copy(update={"age": 12})})
    found = sidewise.interpret(child, draws=100)
    assert found.to_frame().empty
    assert len(found.to_frame("red_flags")) >= 3
    assert "no probability shown" in repr(found)
    assert "Under 18" in found._repr_html_()


class Hostile(Shown):
    """A result whose every word tries to be a script."""

    WORDS = "<script>alert('&')</script>"

    def view(self) -> View:
        rows = [{self.WORDS: self.WORDS, "n": 1.0}] * 25
        table = Table((self.WORDS, "n"), lambda: rows)
        return View(self.WORDS, {"only": table}, (self.WORDS,), (self.WORDS,))


def test_every_word_is_escaped_in_html() -> None:
    page = Hostile()._repr_html_()
    assert "<script" not in page
    assert page.count("&lt;script&gt;") == 1 + 1 + 1 + 1 + 20
    assert "5 more rows" in page


def test_gaps_are_empty_and_not_zero() -> None:
    assert [cell_text(cell) for cell in (None, float("nan"), 0.0, True, False, 0.12345)] == [
        "", "", "0", "yes", "no", "0.123"]  # fmt: skip
    assert "<td></td>" in html_table(Table(("low",), lambda: [{"low": None}]))


def test_a_note_is_text_page_and_view() -> None:
    note = sidewise.write_note(record("frozen"))
    assert str(note).startswith("HERON-1")
    assert note.html.startswith("<!doctype html>")
    main, _, footer = note._repr_html_().partition("<footer>")
    assert main in note.html
    assert footer in note.html
    assert repr(note).startswith("<Note: HERON-1, ")


def test_a_note_needs_the_result_of_its_own_record() -> None:
    with pytest.raises(UserError, match="expected the interpretation of frozen"):
        sidewise.write_note(record("frozen"), result("interpretation"))


def test_pictures_are_named_and_speak_for_themselves(tmp_path: Path) -> None:
    course = sidewise.pictures(result("follow-up"))
    sitting = sidewise.pictures(result("sitting"))
    assert (list(course), list(sitting)) == (["course"], ["stations", "examiners", "near the mark"])
    for drawing in (*course.values(), *sitting.values()):
        assert 'role="img"' in drawing._repr_svg_()
        drawing.save(tmp_path / "picture.svg")
    with pytest.raises(UserError, match=r"expected a file that ends in \.svg"):
        course["course"].save(tmp_path / "picture.doc")


def test_a_register_reads_tables_and_sets_aside_with_reasons(tmp_path: Path) -> None:
    from sidewise.record.table import contexts_frame, findings_frame
    from tests.shoulder import WORDS

    whole = result("register").records
    contexts = contexts_frame(whole)
    contexts.loc[contexts.record == "frozen", "age"] = 900
    contexts.to_csv(tmp_path / "contexts.csv", index=False)
    findings_frame(whole, WORDS).to_csv(tmp_path / "findings.csv", index=False)
    found = sidewise.read_register(tmp_path)
    assert len(found) == len(whole) - 1 == 11
    assert {one.id: one.findings for one in found} == {
        one.id: one.findings for one in whole if one.id != "frozen"
    }
    aside = found.to_frame("set_aside")
    assert set(aside.record) == {"frozen"}
    assert aside.reason.str.contains("900").any()
    assert "1 set aside" in repr(found)


def test_a_batch_is_read_back_as_it_was_written(tmp_path: Path) -> None:
    from sidewise.reason.batch.run import run_batch
    from sidewise.regions import regions

    done = run_batch(EXAMPLES, tmp_path / "out", regions)
    batch = sidewise.read_batch(tmp_path / "out")
    frame = batch.to_frame()
    assert (batch.records, batch.set_aside) == (done.records, done.set_aside) == (12, 0)
    assert frame.record.nunique() == 12
    flagged = frame[frame.flags_raised != ""].record.nunique()
    assert batch.view().alerts[0].startswith(f"{flagged} records with a flag raised")
    (tmp_path / "out" / "part-00000.parquet").write_bytes(b"PAR1")
    with pytest.raises(UserError, match="expected what `sidewise batch` wrote, whole"):
        sidewise.read_batch(tmp_path / "out")
