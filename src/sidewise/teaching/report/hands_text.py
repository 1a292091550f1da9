"""Agreement of hands in words for a terminal."""

from __future__ import annotations

from sidewise.teaching.hands.grras import grras_points
from sidewise.teaching.hands.hands import Hands, ItemAgreement
from sidewise.teaching.report.text import (
    decimal_text,
    interval_text,
    warnings_text,
    wrapped_text,
)


def hands_text(hands: Hands) -> str:
    """`sidewise agree`: one sentence per item, then each examiner against the reference."""
    f = hands.findings
    reference = "one reference examination" if f.has_reference else "no reference"
    head = (
        f"{f.name}: {f.patients} patients, {len(f.examiners)} examiners, {f.rows:,} findings, "
        f"{reference}"
    )
    items = [_hands_item(item) for item in hands.items]
    points = "\n".join(
        ["For the report (GRRAS)", *(wrapped_text(p.text, "  ") for p in grras_points(hands))]
    )
    parts = [head, *items, points, warnings_text(hands.warnings)]
    return "\n\n".join(part for part in parts if part)


def _hands_item(item: ItemAgreement) -> str:
    lines = [wrapped_text(item.sentence)]
    if item.prevalence:
        shares = ", ".join(f"{word} {100 * p:.0f}%" for word, p in item.prevalence.items())
        lines.append(wrapped_text(f"How common: {shares}.", "  "))
    lines += [f"  {line}" for line in _against(item)]
    lines += [wrapped_text(f"Take care: {w}", "  ") for w in item.warnings]
    return "\n".join(lines)


def _against(item: ItemAgreement) -> list[str]:
    lines = []
    for a in item.against:
        if a.limits is not None:
            spread = f"{a.limits.lower.value:.1f} to {a.limits.upper.value:.1f}"
            mean = interval_text(a.limits.mean, 1)
            lines.append(f"{a.examiner} - reference: {mean}; 95% of differences {spread} (n {a.n})")
        elif a.kappa is not None and a.ac1 is not None:
            extra = ""
            if a.sensitivity is not None and a.specificity is not None:
                extra = (
                    f", sensitivity {interval_text(a.sensitivity)}"
                    f", specificity {interval_text(a.specificity)}"
                )
            chance_corrected = a.ac1.name.removeprefix("Gwet ")
            lines.append(
                f"{a.examiner}: {a.same} of {a.n} as the reference; "
                f"kappa {decimal_text(a.kappa.value)}, "
                f"{chance_corrected} {decimal_text(a.ac1.value)}{extra}"
            )
        else:
            lines.append(f"{a.examiner}: {a.n} readings, too few to compare")
    return lines
