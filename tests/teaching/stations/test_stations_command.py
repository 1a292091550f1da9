"""`sidewise stations` as a teacher types it: draft, check, paper, typed back."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from sidewise.cli import app
from sidewise.errors import UserError
from sidewise.teaching.stations.station_file import parse_station
from sidewise.teaching.tables.marks_table import read_marks
from tests.shoulder import SHOULDER
from tests.teaching.stations.test_station_files import EXAMPLES, plain


def run(*words: object) -> Result:
    found = CliRunner().invoke(app, ["stations", *map(str, words)])
    if found.exception is not None and not isinstance(found.exception, SystemExit):
        raise found.exception
    return found


def test_a_draft_can_be_kept_and_checked(tmp_path: Path) -> None:
    draft = run("--draft", "flexion,abduction", "--name", "lift").stdout
    assert parse_station(draft, "lift.yaml", SHOULDER).id == "lift"
    (tmp_path / "lift.yaml").write_text(draft)
    told = run(tmp_path / "lift.yaml").stdout
    assert told.startswith("1 stations: lift.")
    assert "no critical error is named" in told


def test_the_actors_sheet_of_a_case_goes_into_the_draft(tmp_path: Path) -> None:
    made = CliRunner().invoke(app, ["case", "--seed", "7"])
    (tmp_path / "case.json").write_text(made.stdout)
    draft = run("--draft", "flexion", "--case", tmp_path / "case.json").stdout
    station = parse_station(draft, "s.yaml", SHOULDER)
    assert "Sheet for the patient actor" in station.actor
    assert "say STOP in your own voice" in station.actor


def test_paper_goes_out_and_comes_back_as_marks(tmp_path: Path) -> None:
    (tmp_path / "turn.yaml").write_text(plain())
    pack, entry = tmp_path / "pack.html", tmp_path / "entry.csv"
    assert run(tmp_path / "turn.yaml", "--pack", pack, "--entry", entry).exit_code == 0
    assert "Examine how the arms turn." in pack.read_text()
    entry.write_text(entry.read_text() + "A,1,E1,101,2,1,pass,,\nA,1,E2,102,0,2,fail,,slow\n")
    found = run(tmp_path / "turn.yaml", "--typed", entry, "--sitting", "spring")
    (tmp_path / "marks.csv").write_text(found.stdout)
    marks = read_marks(tmp_path / "marks.csv")
    assert marks.table["mark"].tolist() == [2, 0.5, 0, 1]


def test_a_number_that_the_timetable_lacks_is_refused(tmp_path: Path) -> None:
    day = Path(__file__).parents[3] / "examples" / "circuits" / "day.yaml"
    made = CliRunner().invoke(app, ["timetable", str(day), "--json"])
    (tmp_path / "t.json").write_text(made.stdout)
    (tmp_path / "turn.yaml").write_text(plain())
    run(tmp_path / "turn.yaml", "--entry", tmp_path / "e.csv")
    with (tmp_path / "e.csv").open("a") as file:
        file.write("A,1,E1,101,2,1,pass,,\nA,1,E1,999,2,1,pass,,\n")
    with pytest.raises(UserError, match='line 3, student: got "999"'):
        run(tmp_path / "turn.yaml", "--typed", tmp_path / "e.csv", "--numbers", tmp_path / "t.json")


def test_a_table_is_of_one_station(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="one station"):
        run(*EXAMPLES, "--entry", tmp_path / "e.csv")


def test_without_files_the_remedy_is_said() -> None:
    with pytest.raises(UserError, match="--draft ITEMS"):
        run()


def test_a_file_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="absent"):
        run(tmp_path / "absent.yaml")
