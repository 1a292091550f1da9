"""What would be said otherwise now: an earlier conclusion against the present one."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from sidewise.errors import UserError, UserErrors
from sidewise.reason import interpret
from sidewise.reason.conclusions import (
    LEADING,
    changes_since_signing,
    conclusion_changes,
    read_conclusion,
    said_at_signing,
)
from sidewise.record import Essentials
from tests.builders import angle, positive, record
from tests.shoulder import SHOULDER

SEEN = record(positive("hawkins_kennedy", "left"), angle("external_rotation_at_side", "left", 60))
NOW = interpret(SEEN, SHOULDER)


def kept(tmp_path: Path, data: object) -> Path:
    path = tmp_path / "then.json"
    path.write_text(json.dumps(data), encoding="utf-8")
    return path


def test_the_same_knowledge_says_the_same(tmp_path: Path) -> None:
    told = conclusion_changes(read_conclusion(kept(tmp_path, NOW.to_json())), NOW)
    assert not told.differs
    assert list(told.lines()) == [
        f"r1: nothing would be said otherwise; the same knowledge ({NOW.knowledge_version})."
    ]


def test_another_lead_flag_and_figure_are_named(tmp_path: Path) -> None:
    data = json.loads(json.dumps(NOW.to_json()))
    data["knowledge_version"] = "earlier"
    for one in data["sides"]["left"]["conditions"]:
        one["posterior"] = {"cuff": 0.1, "frozen": 0.9}.get(one["condition"], one["posterior"])
    data["red_flags"].append({**data["red_flags"][0], "label": "an old flag", "status": "raised"})
    told = conclusion_changes(data, NOW)
    assert told.differs
    assert told.leads == ("left: frozen shoulder led then, rotator cuff and bursa leads now",)
    assert told.flags == ("flag raised then, and not now: an old flag",)
    assert {c.label for c in told.figures} == {"rotator cuff and bursa", "frozen shoulder"}
    assert "What was signed stays." in next(told.lines())


def test_a_figure_that_moved_little_is_not_named(tmp_path: Path) -> None:
    data = json.loads(json.dumps(NOW.to_json()))
    for one in data["sides"]["left"]["conditions"]:
        one["posterior"] = one["posterior"] + 0.05
    assert conclusion_changes(data, NOW).figures == ()


def test_what_is_no_conclusion_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="an interpretation of the format"):
        read_conclusion(kept(tmp_path, {"format": "sidewise-examination/1"}))
    with pytest.raises(UserError, match="a conclusion on r1"):
        conclusion_changes(replace(NOW, record="another").to_json(), NOW)


@pytest.mark.parametrize(
    ("field", "instead", "where"),
    [
        ("record", None, "then.json.record"),
        ("red_flags", [{"status": "raised"}], r"then.json.red_flags\[0\].label"),
        ("sides", {"left": {}}, "then.json.sides.left.conditions"),
        ("whole_person", {"conditions": [{"label": "x", "posterior": 5}]}, "posterior: got 5"),
        ("whole_person", {"conditions": [{"label": "x", "posterior": float("nan")}]}, "posterior"),
    ],
)
def test_a_damaged_conclusion_is_refused_with_its_place(
    field: str, instead: object, where: str, tmp_path: Path
) -> None:
    with pytest.raises(UserErrors, match=where):
        read_conclusion(kept(tmp_path, {**NOW.to_json(), field: instead}))


def test_what_is_nested_beyond_reading_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "then.json"
    path.write_text("[" * 100_000)
    with pytest.raises(UserError, match="no JSON"):
        read_conclusion(path)


def test_with_a_signature_the_leading_conditions_are_kept_with_their_intervals() -> None:
    said = said_at_signing(SEEN, NOW)
    assert said.knowledge == NOW.knowledge_version
    left = [one for one in said.figures if one.side == "left"]
    likely = sorted((c.estimate for c in NOW.sides["left"].conditions), reverse=True)
    assert [one.posterior for one in left] == [round(p, 4) for p in likely[:LEADING]]
    assert all(one.low <= one.posterior <= one.high for one in said.figures)
    assert not [one for one in said.figures if one.side == "right"]
    assert Essentials.model_validate_json(said.model_dump_json()) == said


def test_what_was_signed_under_the_same_knowledge_would_be_said_again() -> None:
    told = changes_since_signing(said_at_signing(SEEN, NOW), NOW)
    assert not told.differs


def test_what_was_signed_and_would_be_said_otherwise_is_named() -> None:
    said = said_at_signing(SEEN, NOW)
    first = said.figures[0]
    assert first.condition == "cuff"
    moved = first.model_copy(update={"posterior": first.posterior - 0.3, "low": 0.0})
    then = said.model_copy(
        update={
            "knowledge": "earlier", "flags": ("an old flag", *said.flags),
            "figures": (moved, *said.figures[1:]),
        }
    )  # fmt: skip
    told = changes_since_signing(then, NOW)
    assert told.flags == ("flag raised then, and not now: an old flag",)
    assert [change.label for change in told.figures] == ["rotator cuff and bursa"]
    lines = list(told.lines())
    assert "knowledge earlier then" in lines[0]
    assert "What was signed stays." in lines[0]


def test_a_condition_that_did_not_lead_then_and_leads_now_is_named() -> None:
    said = said_at_signing(SEEN, NOW)
    then = said.model_copy(update={"figures": said.figures[1:]})
    told = changes_since_signing(then, NOW)
    assert len(told.leads) == 1
    assert told.leads[0].endswith("rotator cuff and bursa leads now")
    assert told.figures == ()
