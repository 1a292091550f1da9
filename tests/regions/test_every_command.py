"""Every command on the invented region, whole and with each optional part absent."""

from __future__ import annotations

import json
from pathlib import Path

import pandas as pd
import pytest
from typer.testing import CliRunner, Result

from sidewise.cli import app
from sidewise.commands import NAMES
from sidewise.errors import UserError
from sidewise.knowledge.manifest import NO_DIFFERENCES, NO_WEIGHING
from sidewise.regions import regions
from tests.regions.conftest import Install
from tests.regions.shelf import absent_groups, write_examination

ABSENT = absent_groups()
ON_A_REGION = {
    "check": ["check", "EXAM"],
    "interpret": ["interpret", "EXAM", "--draws", "100"],
    "interpret as JSON": ["interpret", "EXAM", "--json", "--draws", "100"],
    "note": ["note", "EXAM"],
    "note as HTML": ["note", "EXAM", "--as", "html"],
    "note as FHIR": ["note", "EXAM", "--as", "fhir"],
    "note as PDF": ["note", "EXAM", "--as", "pdf", "-o", "PAPER"],
    "note as a leaflet": ["note", "EXAM", "--as", "leaflet"],
    "note as a line": ["note", "EXAM", "--as", "line"],
    "blank form": ["blank-form", "--region", "lantern"],
    "two readers": ["two-readers", "EXAM", "OTHER"],
    "follow": ["follow", "EXAM", "LATER"],
    "follow as JSON": ["follow", "EXAM", "LATER", "--json"],
    "sources": ["sources", "--region", "lantern"],
    "sources of an item": ["sources", "shake", "--region", "lantern"],
    "sources of a reading": ["sources", "glass_tender", "--region", "lantern"],
    "read-line": ["read-line", "swing out R passive 60; shake left positive pain",
                  "--region", "lantern"],
    "read-line as JSON": ["read-line", "shake left positive pain", "--json",
                          "--region", "lantern"],
    "batch": ["batch", "IN", "OUT"],
    "export": ["export", "EXAM", "-o", "TABLES"],
    "import": ["import", "TABLES", "-o", "TAKEN"],
    "plan": ["plan", "--for", "EXAM", "--minutes", "5", "--seconds", "5"],
    "case": ["case", "--seed", "7", "--region", "lantern"],
    "practise": ["practise", "--seed", "7", "--region", "lantern", "--script", "LINES",
                 "--attempt", "ATTEMPT"],
    "stations": ["stations", "--draft", "shake,swing_out", "--region", "lantern"],
    "stations of a file": ["stations", "STATION"],
}  # fmt: skip
NO_CASES = {"practice", "weighing", "every optional"}
"""What a simulated patient cannot be drawn without: it is refused, in words."""
OF_NO_REGION = {"demo", "serve", "marks", "timetable", "agree", "backup", "restore", "verify",
                "completion"}  # fmt: skip
"""Commands that take no examination of one region; `demo` is tried below."""


STATION = """
{format: sidewise-station/1, id: s, title: Shaking, region: lantern, minutes: 5, total: 1,
 candidate: Shake it., examiner: Watch., steps: [{id: a, text: Shakes, item: shake}]}
"""


def run(*words: str) -> Result:
    found = CliRunner().invoke(app, list(words))
    if found.exception is not None and not isinstance(found.exception, SystemExit):
        raise found.exception
    return found


def words_of(command: str, folder: Path) -> list[str]:
    (folder / "in").mkdir(exist_ok=True)
    places = {
        "EXAM": write_examination(folder),
        "LATER": write_examination(folder, "later.json", day="2026-04-02", pain_0_10=2),
        "OTHER": write_examination(folder, "other.json", examiner="E2"),
        "IN": folder / "in",
        "OUT": folder / "out",
        "PAPER": folder / "paper.pdf",
        "TABLES": folder / "tables",
        "TAKEN": folder / "taken",
        "LINES": folder / "lines.txt",
        "ATTEMPT": folder / "attempt.json",
        "STATION": folder / "station.yaml",
    }
    write_examination(folder / "in")
    places["LINES"].write_text("chances\n")
    places["STATION"].write_text(STATION)
    return [str(places.get(word, word)) for word in ON_A_REGION[command]]


def test_every_command_is_swept() -> None:
    tried = {words[0] for words in ON_A_REGION.values()}
    assert tried | OF_NO_REGION == set(NAMES)
    assert len(tried) == 15
    assert len(ABSENT) == 18


@pytest.mark.parametrize("absent", ABSENT)
def test_every_command_runs(absent: str, install: Install, tmp_path: Path) -> None:
    install(ABSENT[absent])
    swept = 0
    for command in ON_A_REGION:
        if command in ("case", "practise") and absent in NO_CASES:
            with pytest.raises(UserError, match="no such part"):
                run(*words_of(command, tmp_path))
            swept += 1
            continue
        found = run(*words_of(command, tmp_path))
        assert found.exit_code == (1 if command == "check" else 0), (command, found.output)
        assert found.output.strip(), command
        swept += 1
    assert swept == len(ON_A_REGION) == 26


def test_the_whole_region_is_weighed_and_names_its_own_caution(
    install: Install, tmp_path: Path
) -> None:
    install()
    told = json.loads(run(*words_of("interpret as JSON", tmp_path)).stdout)
    assert (told["region"], len(told["cautions"])) == ("lantern", 3)
    assert told["cautions"][-1] == "Every figure of the lantern joint is invented."
    left = {c["condition"]: c for c in told["sides"]["left"]["conditions"]}
    assert set(left) == {"frayed_wick", "cracked_glass"}
    assert left["frayed_wick"]["posterior"] > left["frayed_wick"]["prior"]
    assert told["whole_person"]["conditions"] == []
    assert [v["variant"] for v in told["variants"]] == ["glass_mildly_tender"]
    assert [w for w in told["warnings"] if w.startswith("This region")] == []


def test_without_studies_there_is_no_probability_and_it_is_said(
    install: Install, tmp_path: Path
) -> None:
    install(ABSENT["weighing"])
    told = json.loads(run(*words_of("interpret as JSON", tmp_path)).stdout)
    assert told["sides"] == {}
    assert NO_WEIGHING in told["warnings"]
    assert [flag["flag"] for flag in told["red_flags"]] == []
    assert NO_WEIGHING in run(*words_of("sources of a reading", tmp_path)).stdout
    assert "no probability is shown" in run(*words_of("note", tmp_path)).stdout
    run(*words_of("batch", tmp_path))
    (part,) = (tmp_path / "out").glob("part-*.parquet")
    table = pd.read_parquet(part)
    assert table["posterior"].isna().all()
    assert NO_WEIGHING in table["warnings"].iloc[0]


def test_a_red_flag_is_raised_whatever_is_absent(install: Install, tmp_path: Path) -> None:
    install(ABSENT["every optional"])
    exam = write_examination(tmp_path, history={"glows_at_night": "yes"})
    found = run("interpret", str(exam), "--json")
    told = json.loads(found.stdout)
    assert [(f["flag"], f["status"]) for f in told["red_flags"]] == [("ember", "raised")]
    assert {(n["item"], n["side"]) for n in told["withheld"]} == {
        ("shake", "right"),
        ("tap", "right"),
    }
    assert "RAISED: ember in the wick" in run("check", str(exam)).stdout


def test_without_errors_no_difference_is_judged_and_follow_says_so(
    install: Install, tmp_path: Path
) -> None:
    install(ABSENT["error"])
    told = json.loads(run(*words_of("interpret as JSON", tmp_path)).stdout)
    assert [d["real"] for d in told["differences"]] == [None]
    assert NO_DIFFERENCES in told["warnings"]
    assert NO_DIFFERENCES in run(*words_of("follow", tmp_path)).stdout
    assert json.loads(run(*words_of("follow as JSON", tmp_path)).stdout)["absent"]


def test_residuals_need_studies(install: Install) -> None:
    install(ABSENT["weighing"])
    found = run_with_status("sources", "--residuals", "--region", "lantern")
    assert found == (2, NO_WEIGHING)


def test_where_there_are_two_regions_one_has_to_be_named(install: Install) -> None:
    install()
    assert tuple(regions()) == ("lantern", "shoulder")
    assert run_with_status("read-line", "shake left positive")[0] == 2
    assert run_with_status("sources")[1] == "Say which region is meant."


def test_the_examples_are_printed_beside_another_region(install: Install) -> None:
    install()
    found = run("demo", "--print")
    assert found.exit_code == 0
    assert "HERON-1" in found.output


def run_with_status(*words: str) -> tuple[int, str]:
    """Status and the last line of what went wrong, as a person sees it."""
    import subprocess
    import sys

    code = "from sidewise.cli import main; main()"
    done = subprocess.run([sys.executable, "-c", code, *words], capture_output=True, text=True,
                          check=False)  # fmt: skip
    assert "Traceback" not in done.stderr
    return done.returncode, done.stderr.strip().splitlines()[-1]
