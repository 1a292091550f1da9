"""Learners of `learners.yaml` played at their patients."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import yaml

from sidewise.practice import CaseWishes, PracticeCase, practice_case
from sidewise.practice.case_file import CaseFile, CaseTruth, case_file, parse_truth, truth_document
from sidewise.practice.feedback import Feedback, feedback
from sidewise.practice.feedback.warrant import moment_of, warranted_chances
from sidewise.practice.room import (
    Attempt,
    Room,
    State,
    begin_attempt,
    open_room,
    revealed_record,
    take_step,
)
from sidewise.practice.room.line import parse_line
from sidewise.reason.judging.flags import flag_book_of, red_flags
from sidewise.reason.judging.judge import Judge
from sidewise.record import Finding, Record
from tests.shoulder import SHOULDER

HERE = Path(__file__).parent
LEARNERS: list[dict[str, Any]] = yaml.safe_load(
    (HERE / "learners.yaml").read_text(encoding="utf-8")
)
AS_WARRANTED = "chances as warranted"


@lru_cache(maxsize=16)
def drawn(
    seed: int, present: tuple[str, ...], absent: tuple[str, ...], flags: tuple[str, ...]
) -> PracticeCase:
    return practice_case(SHOULDER, seed, CaseWishes(present, absent, flags))


def room_of(entry: dict[str, Any]) -> tuple[Room, CaseTruth]:
    wished = entry["case"]
    case = drawn(wished["seed"], tuple(wished.get("with", ())), tuple(wished.get("without", ())),
                 tuple(wished.get("flags", ())))  # fmt: skip
    file, truth = case_file(case), parse_truth(truth_document(case, SHOULDER))
    if changed := entry.get("changed"):
        file, truth = _changed(file, truth, changed)
    return open_room(SHOULDER, file), truth


def _changed(
    file: CaseFile, truth: CaseTruth, changes: list[dict[str, Any]]
) -> tuple[CaseFile, CaseTruth]:
    old = file.record
    findings = list(old.findings)
    for change in changes:
        side = old.context.complaint[0]
        findings = [f for f in findings if (f.item, f.side) != (change["item"], side)]
        value = {"kind": "choice", "choice": change["choice"]}
        findings.append(
            Finding.model_validate({"item": change["item"], "side": side, "value": value})
        )
    record = Record(id=old.id, region=old.region, context=old.context, findings=tuple(findings))
    raised = red_flags(Judge(open_room(SHOULDER, file).protocol, record), flag_book_of(SHOULDER))
    flags = tuple(flag.flag for flag in raised if flag.status == "raised")
    return replace(file, record=record), replace(truth, flags=flags)


def play(room: Room, lines: list[str]) -> Attempt:
    attempt = begin_attempt(room)
    for line in lines:
        if line == AS_WARRANTED:
            now = warranted_chances(moment_of(revealed_record(room, attempt), SHOULDER))
            attempt = take_step(room, attempt, State(chances=now))
            continue
        for step in parse_line(room, line):
            attempt = take_step(room, attempt, step)
    return attempt


@lru_cache(maxsize=64)
def told(number: int) -> Feedback:
    room, truth = room_of(LEARNERS[number])
    return feedback(room, play(room, LEARNERS[number]["does"]), truth)
