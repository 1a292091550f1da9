"""Writes the schemas: `python -m sidewise.schemas.build FOLDER ...`, after a result has changed."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

from pydantic import BaseModel, TypeAdapter

from sidewise.protocol.loader import vocabulary_of_all
from sidewise.record import record_schema
from sidewise.regions import regions
from sidewise.schemas import FORMATS, file_name
from sidewise.schemas.documents import (
    CHECK_FORMAT,
    SOURCES_FORMAT,
    VERIFICATION_FORMAT,
    Checked,
    SourcesDocument,
    Verified,
)
from sidewise.schemas.shapes import Schema, Shapes, closed_object, or_null, without

DRAFT = "https://json-schema.org/draft/2020-12/schema"
TEXT: Schema = {"type": "string"}
WHOLE: Schema = {"type": "integer"}
TEXTS: Schema = {"type": "array", "items": TEXT}


def all_schemas() -> dict[str, Schema]:
    """The schema of every format, by its name."""
    made = {
        "sidewise-examination/1": record_schema(vocabulary_of_all(regions())),
        "sidewise-interpretation/1": _interpretation(),
        "sidewise-follow/1": _follow(),
        "sidewise-line/1": _line(),
        "sidewise-plan/1": _plan(),
        "sidewise-case/1": _case(),
        "sidewise-case-truth/1": _case_truth(),
        "sidewise-attempt/1": _attempt(),
        "sidewise-feedback/1": _feedback(),
        "sidewise-marks-report/1": _marks(),
        "sidewise-agreement-report/1": _agreement(),
        CHECK_FORMAT: _plain(CHECK_FORMAT, "What was found in files that were checked", Checked),
        SOURCES_FORMAT: _plain(
            SOURCES_FORMAT, "What an item or a reading rests on", SourcesDocument
        ),
        VERIFICATION_FORMAT: _plain(
            VERIFICATION_FORMAT, "Whether a data folder is as the program left it", Verified
        ),
        "sidewise-station/1": _station(),
        "sidewise-circuits/1": _circuits(),
        "sidewise-timetable/1": _timetable(),
    }
    assert tuple(made) == FORMATS
    return made


def schema_text(schema: Schema) -> str:
    """A schema as it stands in its file."""
    return json.dumps(schema, indent=1, ensure_ascii=False) + "\n"


def _document(name: str, title: str, body: Schema, defs: dict[str, Schema]) -> Schema:
    fields = {"format": {"const": name}, **body["properties"]}
    optional = [field for field in body["properties"] if field not in body["required"]]
    return {"$schema": DRAFT, "title": title, **closed_object(fields, optional), "$defs": defs}


def _plain(name: str, title: str, kind: type) -> Schema:
    shapes = Shapes(gaps=False)
    body = shapes.fields_of(kind)
    return _document(name, title, body, shapes.defs)


def _interpretation() -> Schema:
    from sidewise.reason.result import INTERPRETATION_FORMAT, Interpretation

    shapes = Shapes(gaps=False)
    body = shapes.fields_of(Interpretation)
    title = "What the findings of one examination make more or less likely"
    return _document(INTERPRETATION_FORMAT, title, body, shapes.defs)


def _follow() -> Schema:
    from sidewise.measure.visits.results import Followed, FollowUp
    from sidewise.measure.visits.text import FORMAT

    shapes = Shapes(gaps=False)
    body = shapes.fields_of(FollowUp)
    shapes.defs["Followed"] = without(shapes.fields_of(Followed), ["ladder"])
    fields = {"basis": TEXT, **body["properties"], "absent": TEXTS}
    title = "What changed over one person's visits, and what is error"
    return _document(FORMAT, title, closed_object(fields, ["absent", "doubts"]), shapes.defs)


def _line() -> Schema:
    from sidewise.record.line.display import FORMAT

    record = record_schema(vocabulary_of_all(regions()))
    span = {"start": WHOLE, "end": WHOLE, "text": TEXT}
    findings: Schema = {"type": "array", "items": {"$ref": "#/$defs/Finding"}}
    choice = closed_object({"label": TEXT, "findings": findings})
    parts = {
        "understood": closed_object({**span, "findings": findings}),
        "questions": closed_object({**span, "question": TEXT, "choices": _list(choice)}),
        "not_understood": closed_object({**span, "words": _list(closed_object(span)), "why": TEXT}),
    }
    lists = {name: _list(part) for name, part in parts.items()}
    body = closed_object({"text": TEXT, "findings": findings, **lists})
    return _document(FORMAT, "A typed line as it was read", body, record["$defs"])


def _plan() -> Schema:
    from sidewise.plan.examination_plan import PLAN_FORMAT, ExaminationPlan

    shapes = Shapes(gaps=False)
    body = shapes.fields_of(ExaminationPlan)
    return _document(PLAN_FORMAT, "An examination planned for the time", body, shapes.defs)


def _case() -> Schema:
    from sidewise.practice.case_file import CASE_FORMAT

    record = record_schema(vocabulary_of_all(regions()))
    fields = {
        "simulated": {"const": True},
        "notice": TEXT,
        "case": TEXT,
        "seed": WHOLE,
        "region": TEXT,
        "knowledge_version": TEXT,
        "program_version": TEXT,
        "voice": TEXT,
        "opening": TEXT,
        "context": record["properties"]["context"],
        "findings": _list({"$ref": "#/$defs/Finding"}),
    }
    title = "A simulated patient for practice, without the truth"
    return _document(CASE_FORMAT, title, closed_object(fields), record["$defs"])


def _case_truth() -> Schema:
    from sidewise.practice.case_file import SEAL, TRUTH_FORMAT

    some = or_null(TEXT)
    yes_no: Schema = {"type": "boolean"}
    asked = {"present": TEXTS, "absent": TEXTS, "flags": TEXTS, "age": or_null(WHOLE),
             "setting": some, "difficulty": TEXT}  # fmt: skip
    there = closed_object({"condition": TEXT, "label": TEXT, "side": some, "level": TEXT})
    fields = {
        "case": TEXT,
        "case_hash": TEXT,
        "asked_for": closed_object(asked),
        "conditions": _list(there),
        "roots": {"type": "object", "additionalProperties": TEXT},
        "flags_raised": TEXTS,
        "readings": {"type": "object", "additionalProperties": yes_no},
        "gave_way": TEXTS,
        "cannot_be_judged": TEXTS,
        SEAL: TEXT,
    }
    return _document(TRUTH_FORMAT, "What is true of a simulated case", closed_object(fields), {})


def _attempt() -> Schema:
    from sidewise.practice.room.attempt import HINT_LEVELS, Step
    from sidewise.practice.room.attempt_file import ATTEMPT_FORMAT

    record = record_schema(vocabulary_of_all(regions()))
    step = TypeAdapter(Step).json_schema(ref_template="#/$defs/{model}")
    defs = {**record["$defs"], **step.pop("$defs")}
    number: Schema = {"type": "number", "minimum": 0}
    taken = {
        "step": step,
        "seconds": {**WHOLE, "minimum": 0},
        "soreness": number,
        "findings": _list({"$ref": "#/$defs/Finding"}),
        "answer": TEXT,
        "said": TEXT,
    }
    fields = {
        "simulated": {"const": True},
        "notice": TEXT,
        "case": TEXT,
        "case_hash": TEXT,
        "region": TEXT,
        "knowledge_version": TEXT,
        "program_version": TEXT,
        "hints": {"enum": list(HINT_LEVELS)},
        "steps": _list(closed_object(taken)),
    }
    title = "One learner's way through a simulated case, with what each step found"
    return _document(ATTEMPT_FORMAT, title, closed_object(fields), defs)


def _feedback() -> Schema:
    from sidewise.practice.feedback import FEEDBACK_FORMAT, Feedback

    shapes = Shapes(gaps=False)
    body = shapes.fields_of(Feedback)
    return _document(FEEDBACK_FORMAT, "What a finished attempt teaches", body, shapes.defs)


def _list(items: Schema) -> Schema:
    return {"type": "array", "items": items}


def _marks() -> Schema:
    import pandas as pd

    from sidewise.teaching.pass_marks.decisions import Rule
    from sidewise.teaching.report.as_json import MARKS_FORMAT

    shapes = Shapes(gaps=True, known={"pd": pd})
    rule = shapes.fields_of(Rule)
    fields = {
        "file": TEXT,
        "rows": WHOLE,
        "left_out_rows": _list(WHOLE),
        "sitting": TEXT,
        "students": WHOLE,
        "stations": WHOLE,
        "examiners": WHOLE,
        "ratings": closed_object({"words": TEXTS, "borderline": WHOLE}),
        **_figures(shapes),
        "rule": closed_object({**rule["properties"], "method": TEXT, "sem_method": TEXT}),
        "near": TEXTS,
        "linked": {"type": "boolean"},
        **_examiners(shapes),
        "warnings": TEXTS,
    }
    title = "One sitting's marks analysed"
    return _document(MARKS_FORMAT, title, closed_object(fields), shapes.defs)


def _figures(shapes: Shapes) -> dict[str, Any]:
    from sidewise.ground.estimate import Estimate
    from sidewise.teaching.pass_marks.decisions import StudentResult
    from sidewise.teaching.pass_marks.examination_mark import ExaminationMark
    from sidewise.teaching.pass_marks.judged import Ebel
    from sidewise.teaching.pass_marks.true_scores import AllocatedEffect
    from sidewise.teaching.reliability.consistency import Consistency
    from sidewise.teaching.reliability.generalizability import Reliability
    from sidewise.teaching.reliability.variance_components import VarianceComponents
    from sidewise.teaching.report.answers import BoardAnswer
    from sidewise.teaching.sitting.decision_summary import DecisionSummary
    from sidewise.teaching.sitting.methods_beside import FailsUnder
    from sidewise.teaching.sitting.moderation_log import ModerationLog
    from sidewise.teaching.sitting.reality import JudgesReality
    from sidewise.teaching.sitting.sitting import PassMark, WithoutStation
    from sidewise.teaching.sitting.stations import StationFigures
    from sidewise.teaching.sitting.years import Years
    from sidewise.teaching.thresholds import QuotedThreshold

    kinds: dict[str, Any] = {
        "answers": tuple[BoardAnswer, ...],
        "reliability": Estimate,
        "alpha": Consistency,
        "generalizability": Reliability | None,
        "variance": VarianceComponents | None,
        "station_figures": tuple[StationFigures, ...],
        "pass_mark": ExaminationMark,
        "pass_marks": tuple[PassMark, ...],
        "results": tuple[StudentResult, ...],
        "without_station": tuple[WithoutStation, ...],
        "thresholds": dict[str, QuotedThreshold],
        "decisions": DecisionSummary,
        "moderation": ModerationLog | None,
        "fails_under": tuple[FailsUnder, ...],
        "ebel": Ebel | None,
        "judges": JudgesReality | None,
        "years": Years | None,
        "examiners_if_allocated_at_random": tuple[AllocatedEffect, ...],
    }
    found = {name: shapes.of(kind) for name, kind in kinds.items()}
    # Domains carry a matrix of correlations beside their own fields.
    return {**found, "domains": or_null({"type": "object"})}


def _examiners(shapes: Shapes) -> dict[str, Any]:
    from sidewise.teaching.report.as_json import VERDICTS
    from sidewise.teaching.severity.central_tendency import CentralTendency
    from sidewise.teaching.severity.drift import Drift
    from sidewise.teaching.severity.examiner_groups import ExaminerGap
    from sidewise.teaching.severity.group_comparison import GroupComparison
    from sidewise.teaching.severity.halo import Halo
    from sidewise.teaching.severity.mark_severity import MarkSeverity
    from sidewise.teaching.severity.rating_severity import SeverityResult

    students = _list({"type": "object"})
    by_marks = shapes.fields_of(MarkSeverity)
    by_ratings = without(shapes.fields_of(SeverityResult), VERDICTS)
    row = by_ratings["properties"]["examiners"]["items"]["$ref"].rpartition("/")[2]
    named = without(shapes.defs[row], VERDICTS)
    kinds: dict[str, Any] = {"drift": Drift | None, "halo": Halo | None,
                             "spread": CentralTendency | None,
                             "circuits": GroupComparison | None,
                             "examiner_groups": tuple[ExaminerGap, ...],
                             "groups": GroupComparison | None}  # fmt: skip
    return {
        "severity": or_null(closed_object({**by_marks["properties"], "students": students})),
        "rating_model": or_null(
            closed_object(
                {**by_ratings["properties"], "students": students, "examiners": _list(named)}
            )
        ),
        "rating_model_of": TEXT,
        "recorded_performances": WHOLE,
        "drift_by": TEXT,
        **{name: shapes.of(kind) for name, kind in kinds.items()},
    }


def _agreement() -> Schema:
    from sidewise.teaching.hands.grras import GrrasPoint
    from sidewise.teaching.hands.hands import ItemAgreement
    from sidewise.teaching.hands.swapped_sides import SwappedSides
    from sidewise.teaching.report.as_json import AGREE_FORMAT

    shapes = Shapes(gaps=True)
    swapped, point = shapes.fields_of(SwappedSides), shapes.fields_of(GrrasPoint)
    fields = {
        "file": TEXT,
        "patients": WHOLE,
        "examiners": TEXTS,
        "findings": WHOLE,
        "not_seen": WHOLE,
        "reference": {"type": "boolean"},
        "items": shapes.of(tuple[ItemAgreement, ...]),
        "swapped": _list(closed_object({**swapped["properties"], "sentence": TEXT})),
        "grras": _list(closed_object({**point["properties"], "text": TEXT})),
        "warnings": TEXTS,
    }
    title = "Agreement of examiners' findings"
    return _document(AGREE_FORMAT, title, closed_object(fields), shapes.defs)


def _station() -> Schema:
    from sidewise.teaching.stations.station import Station

    return _of_model(Station, "One station of a practical examination")


def _circuits() -> Schema:
    from sidewise.teaching.circuits.request import CircuitRequest
    from sidewise.teaching.circuits.request_file import PEOPLE

    schema = _of_model(CircuitRequest, "What a timetable of circuits is made from")
    for kind in PEOPLE:
        # A list, or the name of a table beside the file.
        schema["properties"][kind] = {"anyOf": [schema["properties"][kind], TEXT]}
    return schema


def _timetable() -> Schema:
    from sidewise.teaching.circuits.timetable_file import TimetableDocument

    return _of_model(TimetableDocument, "A timetable, and what its marks will tell of examiners")


def _of_model(model: type[BaseModel], title: str) -> Schema:
    """The schema of a document that is a model itself; which format it is has to be said."""
    made = model.model_json_schema(ref_template="#/$defs/{model}")
    required = list(dict.fromkeys(["format", *made.get("required", [])]))
    return {"$schema": DRAFT, **made, "title": title, "required": required}


def main(folders: list[str]) -> None:
    """Write into each of the folders the schemas that are not there as they should be."""
    for folder in map(Path, folders):
        for name, schema in all_schemas().items():
            path = folder / file_name(name)
            if not path.exists() or json.loads(path.read_text(encoding="utf-8")) != schema:
                path.write_text(schema_text(schema), encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
