"""Flags kept up to date finding by finding: always the same as judged from the beginning."""

from __future__ import annotations

import random
from functools import lru_cache
from pathlib import Path

from sidewise.note import standing as module
from sidewise.note.completeness import completeness
from sidewise.note.standing import standing
from sidewise.record import Finding, Record, read_record
from tests.builders import positive, record

ROOT = Path(__file__).parents[2]
EXAMPLES = sorted(ROOT.glob("examples/*.json"))


@lru_cache(maxsize=32)
def _example(path: Path) -> Record:
    return read_record(path)


def _part(whole: Record, *findings: Finding) -> Record:
    return Record(id=whole.id, region=whole.region, context=whole.context, findings=findings)


def test_every_state_of_every_example_stands_as_if_judged_afresh() -> None:
    swept = raised = 0
    for path in EXAMPLES:
        whole, before = _example(path), None
        for number in range(0, len(whole.findings) + 1, 3):
            part = _part(whole, *whole.findings[:number])
            before = standing(part, before)
            assert before.completeness == completeness(part), (path.name, number)
            swept += 1
            raised += bool(before.completeness.raised)
    assert swept > 200
    assert raised > 20


def test_findings_taken_away_in_any_order_leave_nothing_behind() -> None:
    shuffled, swept = random.Random(20260302), 0
    for path in EXAMPLES[:6]:
        whole = _example(path)
        before = standing(whole)
        for _ in range(12):
            kept = shuffled.sample(whole.findings, k=shuffled.randint(0, len(whole.findings)))
            part = _part(whole, *kept)
            before = standing(part, before)
            assert before.completeness == completeness(part), path.name
            swept += 1
    assert swept == 72


def test_another_context_is_judged_afresh() -> None:
    before = standing(record(history={"fever": "no"}))
    after = record(history={"fever": "yes", "night_pain": "yes"}, age=81)
    assert standing(after, before).completeness == completeness(after)


def test_a_touch_judges_only_the_rules_that_read_its_place(monkeypatch) -> None:
    before = standing(record())
    judged = []
    real = module._judge
    monkeypatch.setattr(module, "_judge", lambda r, rule: judged.append(rule) or real(r, rule))
    standing(record(positive("neer", "left")), before)
    assert len(judged) < len(before.judged) / 4
