"""Flags kept up to date finding by finding: always the same as judged from the beginning."""

from __future__ import annotations

import random
from functools import lru_cache
from pathlib import Path

from sidewise.note import standing as module
from sidewise.note.completeness import completeness
from sidewise.note.standing import standing
from sidewise.reason.judging.called_for import called_for_rules
from sidewise.record import Finding, Record, read_record
from tests.builders import angle, found, positive, record, unable
from tests.reason.called_records import wish
from tests.shoulder import REGIONS, SHOULDER

ROOT = Path(__file__).parents[2]
EXAMPLES = sorted(ROOT.glob("examples/*.json"))


@lru_cache(maxsize=32)
def _example(path: Path) -> Record:
    return read_record(path, REGIONS)


def _part(whole: Record, *findings: Finding) -> Record:
    return Record(id=whole.id, region=whole.region, context=whole.context, findings=findings)


def test_every_state_of_every_example_stands_as_if_judged_afresh() -> None:
    swept = raised = 0
    for path in EXAMPLES:
        whole, before = _example(path), None
        for number in range(0, len(whole.findings) + 1, 3):
            part = _part(whole, *whole.findings[:number])
            before = standing(part, SHOULDER, before)
            assert before.completeness == completeness(part, SHOULDER), (path.name, number)
            swept += 1
            raised += bool(before.completeness.raised)
    assert swept > 200
    assert raised > 20


def test_findings_taken_away_in_any_order_leave_nothing_behind() -> None:
    shuffled, swept = random.Random(20260302), 0
    for path in EXAMPLES[:6]:
        whole = _example(path)
        before = standing(whole, SHOULDER)
        for _ in range(12):
            kept = shuffled.sample(whole.findings, k=shuffled.randint(0, len(whole.findings)))
            part = _part(whole, *kept)
            before = standing(part, SHOULDER, before)
            assert before.completeness == completeness(part, SHOULDER), path.name
            swept += 1
    assert swept == 72


def test_another_context_is_judged_afresh() -> None:
    before = standing(record(history={"fever": "no"}), SHOULDER)
    after = record(history={"fever": "yes", "night_pain": "yes"}, age=81)
    assert standing(after, SHOULDER, before).completeness == completeness(after, SHOULDER)


def test_a_touch_judges_only_the_rules_that_read_its_place(monkeypatch) -> None:
    before = standing(record(), SHOULDER)
    judged = []
    real = module._judge
    monkeypatch.setattr(
        module, "_judge", lambda r, p, rule: judged.append(rule) or real(r, p, rule)
    )
    standing(record(positive("neer", "left")), SHOULDER, before)
    assert len(judged) < len(before.judged) / 4


def test_a_touch_judges_only_the_rules_that_call_and_read_its_place(monkeypatch) -> None:
    before = standing(record(), SHOULDER)
    judged = []
    real = module._calls
    monkeypatch.setattr(
        module, "_calls", lambda r, p, rule: judged.append(rule) or real(r, p, rule)
    )
    standing(record(positive("spurling", "left")), SHOULDER, before)
    assert 0 < len(judged) < len(before.called) / 4


def test_a_touch_that_changes_what_is_called_for_changes_the_tally_and_back() -> None:
    found_ = found("winging_rest", "left", "sign", grade="marked")
    start = standing(record(), SHOULDER)
    opened = standing(record(found_), SHOULDER, start)
    assert opened.completeness == completeness(record(found_), SHOULDER)
    assert "trapezius_power" in opened.completeness.called
    assert opened.completeness.done["power"][1] > start.completeness.done["power"][1]
    closed = standing(record(), SHOULDER, opened)
    assert closed.completeness == start.completeness
    assert closed.completeness.called == {}


def test_every_state_in_which_items_were_called_for_agrees_with_the_whole() -> None:
    swept = set()
    for one in called_for_rules(SHOULDER):
        asked = wish(one.rule)
        before = standing(record(**asked.context), SHOULDER)
        whole = record(*asked.findings, **asked.context)
        now = standing(whole, SHOULDER, before).completeness
        assert now == completeness(whole, SHOULDER), one.item
        assert one.item in now.called
        swept.add(one.item)
    assert len(swept) == 114


def test_conflicts_come_and_go_without_a_trace() -> None:
    shuffled, swept, disputed = random.Random(20261129), 0, 0
    every = [
        *(found("warmth", "left", "choice", choice=word) for word in ("hot", "warm")),
        *(found("gh_swelling", "left", "sign", grade=grade) for grade in ("marked", "absent")),
        *(found("radial_pulse", "left", "pulse", pulse=pulse) for pulse in ("weak", "normal")),
        angle("flexion", "left", 40, "active"),
        unable("flexion", "left", mode="active"),
        angle("flexion", "left", 150),
        angle("flexion", "left", 60),
        positive("drop_arm", "left"),
        positive("drop_arm", "left", weakness=True),
    ]
    before = standing(record(history={"fall": "yes", "fever": "unsure"}), SHOULDER)
    for _ in range(120):
        kept = shuffled.sample(every, k=shuffled.randint(0, len(every)))
        part = record(*kept, history={"fall": "yes", "fever": "unsure"})
        before = standing(part, SHOULDER, before)
        assert before.completeness == completeness(part, SHOULDER)
        swept += 1
        disputed += len(part.conflicts)
    assert swept == 120
    assert disputed > 100


def test_disputed_fields_of_the_visit_are_judged_afresh() -> None:
    before = standing(record(), SHOULDER)
    after = record(disputed={"vitals.temperature": (39.0, 36.5), "age": (15, 51)})
    now = standing(after, SHOULDER, before)
    assert now.completeness == completeness(after, SHOULDER)
    assert {"under_18", "systemic_symptoms"} <= {f.flag for f in now.completeness.raised}
