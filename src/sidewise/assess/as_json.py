"""Results as plain data for `--json`: named fields, missing numbers as null, no NaN."""

from __future__ import annotations

import dataclasses
import json
import math
from typing import Any

import numpy as np

from sidewise.assess.answers import answers, reliability_of
from sidewise.assess.examination import Examination
from sidewise.assess.grras import grras
from sidewise.assess.hands import Hands
from sidewise.assess.thresholds import thresholds

MARKS_FORMAT = "sidewise-marks-report/1"
AGREE_FORMAT = "sidewise-agreement-report/1"


def plain(value: Any) -> Any:
    """Dataclasses, arrays and frames as dictionaries and lists; NaN and infinity as null."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain(getattr(value, f.name)) for f in dataclasses.fields(value) if f.repr}
    if isinstance(value, dict):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple | set | frozenset):
        return [plain(v) for v in value]
    if isinstance(value, np.ndarray):
        return [plain(v) for v in value.tolist()]
    if isinstance(value, np.generic):
        return plain(value.item())
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if hasattr(value, "to_dict"):
        return [plain(row) for row in value.to_dict("records")]
    return value


def examination_data(e: Examination) -> dict[str, Any]:
    """Everything of one sitting's analysis, as `sidewise marks --json` prints it."""
    f = e.fairness
    return {
        "format": MARKS_FORMAT,
        "file": e.marks.name,
        "rows": e.marks.rows,
        "left_out_rows": list(e.marks.left_out),
        "sitting": str(e.scores["sitting"].iloc[0]),
        "students": len(e.table.students),
        "stations": len(e.table.stations),
        "examiners": int(e.scores["examiner"].nunique()),
        "ratings": {"words": list(e.marks.scale.words), "borderline": e.marks.scale.borderline},
        "answers": plain(answers(e)),
        "reliability": plain(reliability_of(e)),
        "alpha": plain(e.consistency),
        "generalizability": plain(f.reliability),
        "variance": plain(f.components),
        "station_figures": plain(e.stations),
        "pass_mark": plain(e.mark),
        "pass_marks": plain(e.pass_marks),
        "rule": plain(e.rule) | {"method": e.options.method, "sem_method": e.sem_method},
        "results": plain(e.results),
        "near": [r.student for r in e.near],
        "without_station": plain(e.without),
        "linked": f.linked,
        "severity": _with_students(f.severity),
        "rating_model_of": f.model_of,
        "rating_model": _without_verdicts(f.model),
        "drift": plain(f.drift),
        "drift_by": f.drift_by,
        "halo": plain(f.halo),
        "circuits": plain(f.circuits),
        "groups": plain(f.groups),
        "thresholds": plain(thresholds()),
        "warnings": list(e.warnings),
    }


def _with_students(found: Any) -> Any:
    """The students' table is kept; the covariance matrix is not."""
    if found is None:
        return None
    return plain(found) | {"students": plain(found.students)}


# Who is named rests on marks and ratings together; the model of ratings is a view beside it.
VERDICTS = frozenset({"verdict", "severe", "lenient", "rule", "sentence", "p_adjusted"})


def _without_verdicts(found: Any) -> Any:
    """The many-facet model in logits with its fit; nobody is named from it."""
    if found is None:
        return None
    data = {k: v for k, v in _with_students(found).items() if k not in VERDICTS}
    data["examiners"] = [
        {k: v for k, v in row.items() if k not in VERDICTS} for row in data["examiners"]
    ]
    return data


def hands_data(hands: Hands) -> dict[str, Any]:
    """Everything of `sidewise agree --json`."""
    f = hands.findings
    return {
        "format": AGREE_FORMAT,
        "file": f.name,
        "patients": f.patients,
        "examiners": list(f.examiners),
        "findings": f.rows,
        "not_seen": f.not_seen,
        "reference": f.has_reference,
        "items": plain(hands.items),
        "swapped": [plain(s) | {"sentence": s.sentence} for s in hands.swapped],
        "grras": [plain(p) | {"text": p.text} for p in grras(hands)],
        "warnings": list(hands.warnings),
    }


def dumps(data: dict[str, Any]) -> str:
    """JSON text; a NaN that slipped through is an error, not a broken file."""
    return json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False)
