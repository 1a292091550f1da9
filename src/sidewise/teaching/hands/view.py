"""Agreement of hands in a line, in tables and in a notebook."""

from __future__ import annotations

from collections.abc import Iterator

from sidewise.ground.result_view import Table, TableRow, View
from sidewise.teaching.hands.hands import AgainstReference, Hands, ItemAgreement

ITEMS = (
    "item", "kind", "units", "not_seen", "measure", "value", "low", "high", "observed", "sentence",
    "warnings",
)  # fmt: skip
EXAMINERS = (
    "item", "examiner", "n", "same", "kappa", "sensitivity", "specificity", "mean_difference",
)  # fmt: skip


def hands_view(found: Hands) -> View:
    """The view of an agreement study: one row an item; measurements by ICC(2,1), others by AC1."""
    f = found.findings
    return View(
        headline=f"{f.name}: {len(found.items)} items, {f.patients} patients, "
        f"{len(f.examiners)} examiners, {f.not_seen} findings not seen",
        tables={
            "items": Table(ITEMS, lambda: [_item_row(item) for item in found.items]),
            "examiners": Table(EXAMINERS, lambda: list(_examiner_rows(found))),
        },
        alerts=tuple(one.sentence for one in found.swapped),
        cautions=found.warnings,
    )


def _item_row(item: ItemAgreement) -> TableRow:
    return {
        "item": item.item,
        "kind": item.kind,
        "units": item.units,
        "not_seen": item.not_seen,
        **_coefficient(item),
        "sentence": item.sentence,
        "warnings": "; ".join(item.warnings),
    }


def _coefficient(item: ItemAgreement) -> TableRow:
    if item.reading is not None and "2,1" in item.reading.forms:
        one = item.reading.forms["2,1"]
        return {"measure": "ICC(2,1)", "value": one.value, "low": one.low, "high": one.high}
    if item.among is None:
        return {"measure": ""}
    found = item.among.gwet
    return {"measure": found.name, "value": found.value, "low": found.low, "high": found.high,
            "observed": found.observed}  # fmt: skip


def _examiner_rows(found: Hands) -> Iterator[TableRow]:
    for item in found.items:
        for one in item.against:
            yield {"item": item.item, "examiner": one.examiner, "n": one.n, "same": one.same,
                   **_accuracy(one)}  # fmt: skip


def _accuracy(one: AgainstReference) -> TableRow:
    return {
        "kappa": one.kappa.value if one.kappa else None,
        "sensitivity": one.sensitivity.value if one.sensitivity else None,
        "specificity": one.specificity.value if one.specificity else None,
        "mean_difference": one.limits.mean.value if one.limits else None,
    }
