"""The commands as a person types them: status 0, 1 or 2, one screen, no traceback."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
EXAMPLES = sorted(ROOT.glob("examples/*.json"))
COMMAND = Path(sys.executable).parent / "sidewise"


def run(*words: str, text: str | None = None) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [str(COMMAND), *words], capture_output=True, text=True, input=text, check=False, cwd=ROOT
    )


def test_help_names_every_command() -> None:
    found = run("--help")
    assert found.returncode == 0
    for name in ("demo", "check", "interpret", "note", "follow", "sources", "marks", "agree"):
        assert f"\n  {name} " in found.stdout


def test_a_normal_complete_examination_is_status_0() -> None:
    assert run("check", "examples/normal-with-variants.json").returncode == 0


def test_a_raised_flag_is_status_1() -> None:
    found = run("check", "examples/hot-joint.json")
    assert found.returncode == 1
    assert "RAISED: hot, swollen joint (emergency)" in found.stdout


def test_a_question_not_asked_is_status_1() -> None:
    found = run("check", "examples/frozen.json")
    assert found.returncode == 1
    assert "not asked: fever" in found.stdout


@pytest.mark.parametrize("command", ["check", "interpret", "note"])
@pytest.mark.parametrize("kind", ["missing", "folder", "not json", "no record"])
def test_unusable_input_is_status_2_without_a_traceback(
    command: str, kind: str, tmp_path: Path
) -> None:
    path = tmp_path / "exam.json"
    if kind == "folder":
        path.mkdir()
    elif kind == "not json":
        path.write_text("{")
    elif kind == "no record":
        path.write_text("{}")
    found = run(command, str(path))
    assert found.returncode == 2
    assert "Traceback" not in found.stderr
    assert "exam.json" in found.stderr
    assert 1 <= len(found.stderr.splitlines()) <= 24


def test_one_bad_file_among_good_ones_is_status_2_and_says_nothing_of_the_others() -> None:
    found = run("check", "examples/normal-with-variants.json", "no-such-file.json")
    assert found.returncode == 2
    assert found.stdout == ""


def test_standard_input_is_read_for_a_dash() -> None:
    found = run("check", "-", text=EXAMPLES[0].read_text())
    assert found.returncode in (0, 1)
    assert "valid" in found.stdout


def test_an_unknown_setting_is_status_2() -> None:
    found = run("interpret", "examples/frozen.json", "--setting", "moon")
    assert found.returncode == 2
    assert "one of primary" in found.stderr


def test_interpret_prints_the_contract_as_json() -> None:
    found = json.loads(run("interpret", "examples/frozen.json", "--json").stdout)
    keys = {
        "format", "region", "setting", "record", "cautions", "red_flags", "sides", "whole_person",
        "differences", "norms", "variants", "next", "withheld", "not_examined", "unable",
        "warnings", "evidence_percentile", "knowledge_version",
    }  # fmt: skip
    assert keys <= set(found)
    condition = found["sides"]["left"]["conditions"][0]
    wanted = {"condition", "label", "levels", "prior", "posterior", "low", "high", "because"}
    assert wanted <= set(condition)
    flag = found["red_flags"][0]
    assert {"flag", "status", "urgency", "because", "missing", "do", "withhold"} <= set(flag)


def test_interpret_says_what_would_be_said_otherwise_than_then(tmp_path: Path) -> None:
    then = tmp_path / "then.json"
    then.write_text(run("interpret", "examples/frozen.json", "--json").stdout, encoding="utf-8")
    found = run("interpret", "examples/frozen.json", "--against", str(then))
    assert found.returncode == 0
    assert found.stdout.startswith("frozen: nothing would be said otherwise; the same knowledge (")
    wrong = run("interpret", "examples/frozen.json", "--against", "examples/frozen.json")
    assert wrong.returncode == 2
    assert "expected an interpretation of the format" in wrong.stderr


def test_interpret_says_of_what_was_signed_what_would_be_said_otherwise(tmp_path: Path) -> None:
    data = json.loads((ROOT / "examples/frozen.json").read_text(encoding="utf-8"))
    at = {"by": "E1", "at": "2026-05-04T10:00:00+00:00"}
    figure = {"condition": "cuff", "side": "left", "posterior": 0.9, "low": 0.8, "high": 0.95}
    said = {"knowledge": "earlier", "figures": [figure]}
    for name, signed in (("a", at | {"said": said}), ("b", at), ("c", None)):
        text = json.dumps(data | {"id": name} | ({"signed": signed} if signed else {}))
        (tmp_path / f"{name}.json").write_text(text, encoding="utf-8")
    found = run("interpret", str(tmp_path), "--signed")
    assert found.returncode == 0
    lines = found.stdout.splitlines()
    assert lines[0].startswith("a: would be said otherwise now; knowledge earlier then, ")
    assert "  left: rotator cuff and bursa led then, frozen shoulder leads now" in lines
    assert any(line.startswith("  left rotator cuff and bursa: 90% then, ") for line in lines)
    assert lines[-2:] == [
        "b: what was said when it was signed was not kept.", "c: not signed.",
    ]  # fmt: skip
    none = tmp_path / "none"
    none.mkdir()
    empty = run("interpret", str(none), "--signed")
    assert empty.returncode == 2
    assert "expected files of examinations" in empty.stderr


def test_sources_says_how_figures_are_known() -> None:
    found = run("sources", "--provenance")
    assert found.returncode == 0
    assert "Recalled from memory and fitted" in found.stdout
    assert "grading.yaml" in found.stdout


def test_the_note_can_be_written_to_a_file(tmp_path: Path) -> None:
    out = tmp_path / "note.html"
    found = run("note", "examples/frozen.json", "--as", "html", "-o", str(out))
    assert found.returncode == 0
    assert out.read_text().startswith("<!doctype html>")


def test_a_note_that_cannot_be_written_is_status_2(tmp_path: Path) -> None:
    found = run("note", "examples/frozen.json", "-o", str(tmp_path / "no" / "note.txt"))
    assert found.returncode == 2
    assert "a place that can be written to" in found.stderr
