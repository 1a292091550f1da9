"""Reads the chain from its first line to its last and says whether it is whole."""

from __future__ import annotations

from dataclasses import dataclass

from sidewise.web.audit import anchors
from sidewise.web.audit.log import START, seal_of
from sidewise.web.audit.models import AuditLine


@dataclass(frozen=True, slots=True)
class Verdict:
    """How many lines were read, the last seal, and where the chain is broken, if it is."""

    lines: int
    last_seal: str
    anchors: int
    broken: str = ""

    @property
    def whole(self) -> bool:
        """Whether nothing was changed, taken out or slipped in."""
        return not self.broken


def verify(expected: dict[int, str] | None = None, using: str = "default") -> Verdict:
    """Recompute every seal; `expected` are seals noted elsewhere (default: this machine's)."""
    expected = anchors.noted() if expected is None else expected
    before, number, met = START, 0, 0
    for line in AuditLine.objects.using(using).order_by("number").iterator(chunk_size=2000):
        number += 1
        if line.number != number:
            return Verdict(number - 1, before, met, f"line {number} is missing")
        if seal_of(line, before) != line.seal:
            return Verdict(number - 1, before, met, f"line {number} was changed")
        if expected.get(number, line.seal) != line.seal:
            return Verdict(number - 1, before, met, f"line {number} is not the one noted outside")
        met += number in expected
        before = line.seal
    if expected and max(expected) > number:
        return Verdict(number, before, met, f"lines after {number} are missing")
    return Verdict(number, before, met)
