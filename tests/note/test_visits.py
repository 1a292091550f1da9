"""One meaning of complete for every kind of visit, and a note that never reads as a full one."""

from __future__ import annotations

from typing import Any

import pytest

from sidewise.note import completeness, note_html, note_text
from sidewise.note.completeness import Completeness, completeness_of, essential
from sidewise.note.standing import standing
from sidewise.reason import interpret
from sidewise.reason.judging.called_for import is_needed_mode, places
from sidewise.record import Finding, Record
from sidewise.web.examinations.widgets import normal_value
from tests.builders import found, record
from tests.shoulder import PROTOCOL, SHOULDER

KINDS = {kind.id: kind for kind in PROTOCOL.visits.kinds}
FOCUSED = [name for name in KINDS if name != "full"]
CORE = {q.id: "no" for q in PROTOCOL.history if q.core}


def normal_findings(names: Any) -> list[Finding]:
    """A normal finding at every needed place of these items."""
    return [
        Finding.model_validate({"item": item.id, "side": side, "mode": mode, "value": value})
        for item in PROTOCOL.items
        if item.id in names and (value := normal_value(item)) is not None
        for side, mode in places(item)
        if is_needed_mode(item, mode)
    ]


def visit(kind: str | None, *findings: Finding, **context: Any) -> Record:
    return record(*findings, **{"history": CORE, "visit": kind, **context})


def state_of(one: Record) -> Completeness:
    return completeness(one, SHOULDER)


def open_items(state: Completeness) -> set[str]:
    return {missing.item.id for missing in state.missing}


def test_a_record_that_names_no_kind_is_of_a_full_visit() -> None:
    state = state_of(visit(None))
    assert state.kind.id == "full"
    assert state.left_out == ()
    essentials = {item.id for item in PROTOCOL.items if item.role == "essential"}
    assert {m.item.id for m in essential(state.missing)} == essentials


@pytest.mark.parametrize("name", FOCUSED)
def test_every_focused_visit_can_be_complete_and_only_as_what_it_is(name: str) -> None:
    items = set(KINDS[name].items or ())
    done = normal_findings(items)
    unnamed = items - {finding.item for finding in done}
    state = state_of(visit(name, *done))
    assert open_items(state) - set(state.called) == unnamed
    assert state_of(visit("full", *done)).missing
    assert {item.id for item in state.left_out}.isdisjoint(items)


def test_a_short_visit_with_everything_it_has_is_complete_and_says_as_what() -> None:
    done = normal_findings(KINDS["short"].items)
    state = state_of(visit("short", *done))
    assert state.missing == ()
    assert state.complete
    assert state.text("x.json").endswith("short examination, not a full one; complete")


def test_what_a_finding_calls_for_is_called_for_in_a_short_visit() -> None:
    one = visit("short", found("winging_rest", "left", "sign", grade="marked"))
    assert {"winging_lateral", "resisted_flexion_winging"} <= open_items(state_of(one))


def test_what_a_flag_turns_on_is_called_for_where_something_speaks_for_it() -> None:
    """A fever asks for warmth, redness and passive pain, whatever the kind (common practice)."""
    quiet, feverish = visit("weak"), visit("weak", history={**CORE, "fever": "yes"})
    assert "warmth" not in open_items(state_of(quiet))
    assert {"warmth", "gh_redness", "gh_swelling"} <= open_items(state_of(feverish))
    assert "Not excluded: hot, swollen joint." in state_of(feverish).called.values()


def test_a_kinds_own_rule_calls_and_says_why() -> None:
    fit = visit("injured", history={**CORE, "seizure": "yes"})
    assert "backward dislocation" in state_of(fit).called["external_rotation_at_side"]
    assert "external_rotation_at_side" not in state_of(visit("injured")).called


def test_what_was_not_normal_at_the_visit_before_is_wanted_again() -> None:
    before = {"record": "r0", "at": "2026-01-19T09:00:00+00:00", "by": "E1", "watch": ["neer"]}
    state = state_of(visit("follow_up", follows=before))
    assert state.called["neer"] == "Not normal at the visit of 19 Jan 2026."
    assert "neer" in open_items(state)


@pytest.mark.parametrize("name", ["short", "injured", "follow_up"])
def test_after_each_touch_the_visit_stands_as_worked_out_anew(name: str) -> None:
    findings = normal_findings({"warmth", "winging_rest", "gh_redness"})
    before, swept = None, 0
    for number in range(len(findings) + 1):
        part = visit(name, *findings[:number], history={**CORE, "fever": "yes"})
        before = standing(part, SHOULDER, before)
        assert before.completeness == state_of(part)
        swept += 1
    assert swept == 7


@pytest.mark.parametrize("name", FOCUSED)
def test_the_note_names_its_kind_first_and_what_it_left_out(name: str) -> None:
    one = visit(name, *normal_findings({"warmth"}))
    result = interpret(one, SHOULDER)
    text, page = note_text(one, result, SHOULDER), note_html(one, result, SHOULDER)
    heading = KINDS[name].heading
    assert text.startswith(heading)
    assert f"<h1>{heading}</h1>" in page
    left_out = f"NOT PART OF THIS {KINDS[name].name.upper()}, NOT EXAMINED:"
    assert left_out in text
    assert left_out in page
    assert "NOT EXAMINED (essential)" not in text
    assert result.visit == name


def test_nothing_that_a_short_visit_left_out_is_said_to_be_normal() -> None:
    one = visit("short", *normal_findings(KINDS["short"].items))
    result = interpret(one, SHOULDER)
    state = completeness_of(one, result, SHOULDER)
    text = " ".join(note_text(one, result, SHOULDER).split())
    said, _, after = text.partition("NOT PART OF THIS SHORT EXAMINATION")
    assert len(state.left_out) > 20
    for item in state.left_out:
        assert f"{item.label}:" not in said.split("NOT EXAMINED (part")[0], item.id
        assert item.label.partition(":")[0] in after, item.id


def test_what_was_carried_is_marked_with_the_visit_and_its_examiner() -> None:
    before = {"record": "r0", "at": "2026-01-19T09:00:00+00:00", "by": "E4",
              "carried": ["sex", "known.left", "history.diabetes"]}  # fmt: skip
    one = visit("follow_up", follows=before, history={**CORE, "diabetes": "yes"})
    words = ("Follows the visit of 19 Jan 2026 (E4). Carried from there, not asked again: sex, "
             "known left, diabetes.")  # fmt: skip
    result = interpret(one, SHOULDER)
    assert words in " ".join(note_text(one, result, SHOULDER).split())
    assert "Carried from there, not asked again" in note_html(one, result, SHOULDER)
