"""The evidence of an interpretation: figures with sources, and the same again from its file."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest

from sidewise.errors import UserError
from sidewise.ground.provenance import MARKS
from sidewise.note.evidence import evidence_document
from sidewise.note.text import document_text
from sidewise.reason import interpret
from sidewise.reason.interpretation import knowledge_version
from sidewise.reason.reproduction import evidence_file, reproduce
from sidewise.record import Record, read_record
from tests.shoulder import REGIONS, SHOULDER

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def frozen() -> tuple[Record, Any]:
    one = read_record(ROOT / "examples" / "frozen.json", REGIONS)
    return one, interpret(one, SHOULDER, draws=100)


def test_every_condition_that_moved_stands_there_with_its_figures(frozen: Any) -> None:
    one, result = frozen
    parts = {part.title: part for part in evidence_document(one, result, SHOULDER).front}
    lines = [entry for entry in parts["conditions"].entries if isinstance(entry, str)]
    moved = [c for side in result.sides.values() for c in side.conditions if c.because]
    heads = [line for line in lines if "before," in line]
    assert len(heads) >= len(moved) > 5
    for condition in moved:
        told = f"{condition.prior:.1%} before, {condition.estimate:.1%} after"
        assert any(condition.label in line and told in line for line in heads)
    effects = [line for line in lines if "log odds" in line]
    assert len(effects) >= sum(len(condition.because) for condition in moved)


def test_every_figure_carries_a_mark(frozen: Any) -> None:
    one, result = frozen
    parts = {part.title: part for part in evidence_document(one, result, SHOULDER).front}
    marks = "|".join(MARKS)
    for title in ("differences of the sides", "usual values", "conditions"):
        entries = parts[title].entries
        cited = [e for e in entries if re.search(rf"\[({marks}): ", str(e))]
        assert len(cited) >= 0.9 * len(entries), title


def test_the_versions_stand_first(frozen: Any) -> None:
    one, result = frozen
    text = document_text(evidence_document(one, result, SHOULDER))
    assert f"knowledge of the shoulder {knowledge_version(SHOULDER)}" in text
    assert "from 324 published rows" in re.sub(r"\s+", " ", text)


def kept(frozen: Any, folder: Path, **changed: Any) -> Path:
    one, result = frozen
    document = {**json.loads(evidence_file(one, result, 100)), **changed}
    path = folder / "old.json"
    path.write_text(json.dumps(document))
    return path


def test_an_old_interpretation_is_made_again_from_its_file(frozen: Any, tmp_path: Path) -> None:
    found = reproduce(kept(frozen, tmp_path), REGIONS)
    assert found.is_same
    assert "figure by figure" in next(found.lines())


def test_what_differs_is_said_with_both_figures(frozen: Any, tmp_path: Path) -> None:
    path = kept(frozen, tmp_path, knowledge_version="0123456789ab")
    document = json.loads(path.read_text())
    document["interpretation"]["sides"]["left"]["conditions"][0]["posterior"] += 0.01
    document["interpretation"]["knowledge_version"] = "0123456789ab"
    path.write_text(json.dumps(document))
    found = reproduce(path, REGIONS)
    assert found.differences[0].startswith("sides.left.conditions[0].posterior: ")
    assert len(found.differences) == 2
    assert "knowledge 0123456789ab then" in next(found.lines())


def test_a_setting_that_was_asked_for_is_asked_for_again(tmp_path: Path) -> None:
    one = read_record(ROOT / "examples" / "frozen.json", REGIONS)
    result = interpret(one, SHOULDER, setting="ward", draws=100)
    path = tmp_path / "old.json"
    path.write_text(evidence_file(one, result, 100, "ward"))
    assert reproduce(path, REGIONS).is_same


@pytest.mark.parametrize(
    ("changed", "said"),
    [({"format": "x"}, "format"), ({"draws": 5}, "draws"), ({"setting": 3}, "setting"),
     ({"record": {}}, "format"), ({"draws": True}, "draws")],
)  # fmt: skip
def test_what_is_no_such_file_is_refused(
    frozen: Any, tmp_path: Path, changed: dict[str, Any], said: str
) -> None:
    with pytest.raises(UserError, match=said):
        reproduce(kept(frozen, tmp_path, **changed), REGIONS)
    (tmp_path / "cut.json").write_text('{"format": ')
    with pytest.raises(UserError, match="whole JSON"):
        reproduce(tmp_path / "cut.json", REGIONS)
