"""Agreement of hands: findings against a reference examination and among examiners."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from sidewise.ground.agreement.categories import (
    Agreement,
    Coefficient,
    exact_agreement,
    rater_agreement,
)
from sidewise.ground.agreement.intraclass import ReadingReliability, reading_reliability
from sidewise.ground.agreement.limits import LimitsOfAgreement, limits_of_agreement
from sidewise.ground.agreement.weights import metric_weights
from sidewise.ground.arrays import Array, BoolArray, IntArray
from sidewise.ground.distributions import beta_quantile
from sidewise.ground.estimate import Estimate, no_estimate
from sidewise.ground.result_view import Shown, View
from sidewise.teaching.hands.swapped_sides import SwappedSides, swapped_sides
from sidewise.teaching.tables.findings_table import Findings, ItemFindings

# A category this common makes kappa small whatever the examiners do.
LOPSIDED = 0.85


@dataclass(frozen=True, slots=True)
class AgainstReference:
    """One examiner against the reference on one item.

    `same` of `n` findings equal the reference; `kappa` (weighted for grades) and `ac1` for signs
    and grades, `sensitivity` and `specificity` for signs with two categories, `limits` (examiner -
    reference) for measurements.
    """

    examiner: str
    n: int
    same: int
    kappa: Coefficient | None = None
    ac1: Coefficient | None = None
    sensitivity: Estimate | None = None
    specificity: Estimate | None = None
    limits: LimitsOfAgreement | None = None


@dataclass(frozen=True, slots=True)
class ItemAgreement:
    """One item: agreement among the examiners and of each with the reference."""

    item: str
    kind: str
    words: tuple[str, ...]
    units: int
    not_seen: int
    among: Agreement | None
    reading: ReadingReliability | None
    against: tuple[AgainstReference, ...]
    prevalence: dict[str, float]
    sentence: str
    warnings: tuple[str, ...] = field(default=())


@dataclass(frozen=True, slots=True, repr=False)
class Hands(Shown):
    """Everything `sidewise agree` says."""

    findings: Findings
    items: tuple[ItemAgreement, ...]
    swapped: tuple[SwappedSides, ...]
    warnings: tuple[str, ...]

    def view(self) -> View:
        """What is shown of it in a line, as frames and in a notebook."""
        from sidewise.teaching.hands.view import hands_view

        return hands_view(self)


def agreement_of_hands(findings: Findings) -> Hands:
    """Agreement item by item, and records whose sides may have been exchanged.

    Nothing is corrected: exchanged sides are named and left as they stand.
    """
    items = tuple(_item(item) for item in findings.items)
    swapped = swapped_sides(findings)
    notes = [s.sentence for s in swapped]
    if swapped:
        notes.append("The figures above are of the findings as written, sides not exchanged back.")
    if findings.not_seen:
        notes.append(f"{findings.not_seen} findings not examined or not possible: left out.")
    if not findings.has_reference:
        notes.append("No reference examination: examiners are compared with each other only.")
    if any(len(item.units) > findings.patients for item in findings.items):
        notes.append(
            "Both sides of a patient count as two units. Intervals of agreement on signs and "
            "grades allow for it; those of measurements are a little narrow."
        )
    return Hands(findings, items, swapped, (*findings.warnings, *notes))


def _item(item: ItemFindings) -> ItemAgreement:
    against = tuple(
        _against(item, e) for e in range(len(item.examiners)) if _both(item, e).sum() > 0
    )
    among, reading = None, None
    notes: list[str] = []
    pairs = (~np.isnan(item.values)).sum(axis=1) >= 2
    if item.kind == "measurement":
        reading = _reading(item, notes)
    elif pairs.any():
        among = rater_agreement(item.values, _weights(item, item.values), _patients(item))
    else:
        notes.append("No unit was seen by two examiners.")
    prevalence = _prevalence(item, among)
    if among and max(among.prevalence, default=0) > LOPSIDED and len(among.categories) > 1:
        notes.append("One category dominates: kappa is low even when examiners agree; see AC1.")
    return ItemAgreement(
        item.item, item.kind, item.words, len(item.units), int(np.isnan(item.values).sum()),
        among, reading, against, prevalence, _sentence(item, among, reading), tuple(notes),
    )  # fmt: skip


def _patients(item: ItemFindings) -> IntArray:
    """Which units are the same patient's: its sides hang together."""
    return np.unique([unit[0] for unit in item.units], return_inverse=True)[1].astype(np.int64)


def _reading(item: ItemFindings, notes: list[str]) -> ReadingReliability | None:
    table = item.values[(~np.isnan(item.values)).any(axis=1)]
    shared = (~np.isnan(table)).sum(axis=1) >= 2
    if shared.sum() < 2 or table.shape[1] < 2:
        notes.append("Fewer than two units were measured by two examiners.")
        return None
    found = reading_reliability(table)
    notes += found.warnings
    return found


def _weights(item: ItemFindings, values: Array) -> Array | None:
    """Grades further apart count as more disagreement, by the square of their distance."""
    if item.kind != "grade":
        return None
    grades = np.unique(values[~np.isnan(values)])
    return metric_weights(grades, np.ones(grades.size), "interval")


def _prevalence(item: ItemFindings, among: Agreement | None) -> dict[str, float]:
    if among is None:
        return {}
    return {
        _word(item, c): float(p) for c, p in zip(among.categories, among.prevalence, strict=True)
    }


def _word(item: ItemFindings, code: float) -> str:
    return item.words[int(code)] if item.words else f"{code:.3g}"


def _both(item: ItemFindings, examiner: int) -> BoolArray:
    return np.asarray(~(np.isnan(item.values[:, examiner]) | np.isnan(item.reference)))


def _against(item: ItemFindings, examiner: int) -> AgainstReference:
    both = _both(item, examiner)
    own, true = item.values[both, examiner], item.reference[both]
    name, n, same = item.examiners[examiner], int(both.sum()), int((own == true).sum())
    if item.kind == "measurement":
        limits = limits_of_agreement(own, true) if n >= 3 else None
        return AgainstReference(name, n, same, limits=limits)
    pair = np.column_stack([own, true])
    both_ways = rater_agreement(pair, _weights(item, pair), _patients(item)[both])
    found = AgainstReference(name, n, same, both_ways.conger, both_ways.gwet)
    return _with_accuracy(found, own, true) if _two_words(item) else found


def _two_words(item: ItemFindings) -> bool:
    return item.kind == "sign" and len(item.words) == 2


def _with_accuracy(found: AgainstReference, own: Array, true: Array) -> AgainstReference:
    """Sensitivity and specificity of a sign with two words, the last word being present."""
    said, there = own == 1, true == 1
    return replace(
        found,
        sensitivity=_share(int((said & there).sum()), int(there.sum())),
        specificity=_share(int((~said & ~there).sum()), int((~there).sum())),
    )


def _share(k: int, n: int) -> Estimate:
    """A share with exact binomial limits (Clopper CJ, Pearson ES, Biometrika 1934;26:404-413)."""
    if n == 0:
        return no_estimate("none in the reference")
    low = beta_quantile(0.025, k, n - k + 1) if k else 0.0
    high = beta_quantile(0.975, k + 1, n - k) if k < n else 1.0
    return Estimate(k / n, low, high, method="exact binomial")


def _sentence(
    item: ItemFindings, among: Agreement | None, reading: ReadingReliability | None
) -> str:
    if reading is not None and "2,1" in reading.forms:
        r = reading.forms["2,1"]
        shown = _interval(r.value, r.low, r.high)
        return (
            f"{item.item}: one examiner's reading has a reliability of {shown}; two readings by "
            f"different examiners must differ by more than {reading.mdc95:.1f} to "
            "mean a change."
        )
    if among is None:
        return f"{item.item}: agreement among examiners could not be computed."
    c, k = among.gwet, among.conger
    if len(among.categories) < 2:
        return (
            f"{item.item}: every finding was the same ({_word(item, among.categories[0])}); "
            "agreement is perfect, but agreement beyond chance cannot be judged."
        )
    return (
        f"{item.item}: two examiners agree {_how_often(item, k.observed)}; beyond chance "
        f"{_interval(c.value, c.low, c.high)} by {c.name}, "
        f"{_interval(k.value, k.low, k.high)} by {k.name}."
    )


def _how_often(item: ItemFindings, weighted: float) -> str:
    """How often exactly; for grades also how near, which the weighted share says."""
    exact = exact_agreement(item.values)
    if item.kind != "grade":
        return f"in {100 * exact:.0f}%"
    return (
        f"exactly in {100 * exact:.0f}% (with near grades counted in part, by squared distance, "
        f"{100 * weighted:.0f}%)"
    )


def _interval(value: float, low: float, high: float) -> str:
    if np.isnan(value):
        return "not defined"
    return f"{value:.2f}" if np.isnan(low) else f"{value:.2f} ({low:.2f} to {high:.2f})"
