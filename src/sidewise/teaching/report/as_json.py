"""Results as plain data for `--json`: named fields, missing numbers as null, no NaN."""

from __future__ import annotations

import dataclasses
import json
import math
from typing import Any

import numpy as np

from sidewise.teaching.hands.grras import grras_points
from sidewise.teaching.hands.hands import Hands
from sidewise.teaching.pass_marks.true_scores import AllocatedEffect, allocated_effects
from sidewise.teaching.reliability.composite import Composite
from sidewise.teaching.report.answers import board_answers, reliability_of
from sidewise.teaching.sitting.decision_summary import decision_summary
from sidewise.teaching.sitting.methods_beside import fails_under
from sidewise.teaching.sitting.reality import judges_reality
from sidewise.teaching.sitting.sitting import Sitting
from sidewise.teaching.sitting.years import Years
from sidewise.teaching.thresholds import quoted_thresholds

MARKS_FORMAT = "sidewise-marks-report/1"
AGREE_FORMAT = "sidewise-agreement-report/1"


def plain_data(value: Any) -> Any:
    """Dataclasses, arrays and frames as dictionaries and lists; NaN and infinity as null."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {
            f.name: plain_data(getattr(value, f.name)) for f in dataclasses.fields(value) if f.repr
        }
    if isinstance(value, dict):
        return {str(k): plain_data(v) for k, v in value.items()}
    if isinstance(value, list | tuple | set | frozenset):
        return [plain_data(v) for v in value]
    if isinstance(value, np.ndarray):
        return [plain_data(v) for v in value.tolist()]
    if isinstance(value, np.generic):
        return plain_data(value.item())
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if hasattr(value, "to_dict"):
        return [plain_data(row) for row in value.to_dict("records")]
    return value


def sitting_data(e: Sitting, recall: int = 0, years: Years | None = None) -> dict[str, Any]:
    """Everything of one sitting's analysis, as `sidewise marks --json` prints it.

    `recall`: further stations for those near the mark, to be forecast (0: none); `years`: the
    sitting beside earlier ones.
    """
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
        "answers": plain_data(board_answers(e)),
        "reliability": plain_data(reliability_of(e)),
        "alpha": plain_data(e.consistency),
        "generalizability": plain_data(f.reliability),
        "variance": plain_data(f.components),
        "station_figures": plain_data(e.stations),
        "pass_mark": plain_data(e.mark),
        "pass_marks": plain_data(e.pass_marks),
        "rule": plain_data(e.rule) | {"method": e.options.method, "sem_method": e.sem_method},
        "decisions": plain_data(decision_summary(e, recall)),
        "moderation": plain_data(e.moderation),
        "fails_under": plain_data(fails_under(e)),
        "ebel": plain_data(e.options.ebel),
        "judges": plain_data(judges_reality(e)),
        "examiners_if_allocated_at_random": plain_data(_allocated(e)),
        "results": plain_data(e.results),
        "near": [r.student for r in e.near],
        "without_station": plain_data(e.without),
        "linked": f.linked,
        "severity": _with_students(f.severity),
        "rating_model_of": f.model_of,
        "rating_model": _without_verdicts(f.model),
        "drift": plain_data(f.drift),
        "drift_by": f.drift_by,
        "halo": plain_data(f.halo),
        "spread": plain_data(f.spread),
        "recorded_performances": f.recorded,
        "circuits": plain_data(f.circuits),
        "groups": plain_data(f.groups),
        "examiner_groups": plain_data(f.examiner_groups),
        "domains": _with_correlations(f.domains),
        "years": plain_data(years),
        "thresholds": plain_data(quoted_thresholds()),
        "warnings": list(e.warnings),
    }


def _allocated(e: Sitting) -> tuple[AllocatedEffect, ...]:
    components = e.fairness.components
    rated = e.scores[e.scores["score"].notna()]
    return () if components is None else allocated_effects(rated, components)


def _with_correlations(found: Composite | None) -> Any:
    """Domains with the correlations of their true scores."""
    if found is None:
        return None
    return plain_data(found) | {"correlations": plain_data(found.correlations)}


def _with_students(found: Any) -> Any:
    """The students' table is kept; the covariance matrix is not."""
    if found is None:
        return None
    return plain_data(found) | {"students": plain_data(found.students)}


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
        "items": plain_data(hands.items),
        "swapped": [plain_data(s) | {"sentence": s.sentence} for s in hands.swapped],
        "grras": [plain_data(p) | {"text": p.text} for p in grras_points(hands)],
        "warnings": list(hands.warnings),
    }


def json_text(data: dict[str, Any]) -> str:
    """JSON text; a NaN that slipped through is an error, not a broken file."""
    return json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False)
