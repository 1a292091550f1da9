"""Two-by-two counts, and how printed percentages become counts.

A share p of n people becomes round(p n) people, provided that the count gives the share back
within rounding of the last printed digit plus half a person; otherwise the share and the group
size contradict each other. Nothing is added to empty cells here: the exact binomial needs no
correction; the normal approximation adds 0.5 to all four cells of a study with an empty one.
"""

from __future__ import annotations

from dataclasses import dataclass

from sidewise.errors import UserError


@dataclass(frozen=True, slots=True)
class TwoByTwo:
    """Positive and negative, among those with the condition (tp, fn) and without (fp, tn)."""

    tp: float
    fn: float
    fp: float
    tn: float

    def __post_init__(self) -> None:
        cells = (self.tp, self.fn, self.fp, self.tn)
        if not all(0 <= cell < float("inf") for cell in cells):
            raise UserError("two-by-two table", cells, "four counts, 0 or more")
        if self.tp + self.fn == 0 or self.fp + self.tn == 0:
            raise UserError("two-by-two table", cells, "somebody with and somebody without")

    @property
    def sensitivity(self) -> float:
        """tp / (tp + fn)."""
        return self.tp / (self.tp + self.fn)

    @property
    def specificity(self) -> float:
        """tn / (fp + tn)."""
        return self.tn / (self.fp + self.tn)

    @property
    def has_empty_cell(self) -> bool:
        """True where a cell is 0."""
        return 0 in (self.tp, self.fn, self.fp, self.tn)

    def corrected(self, amount: float = 0.5) -> TwoByTwo:
        """With `amount` added to every cell (the continuity correction)."""
        return TwoByTwo(self.tp + amount, self.fn + amount, self.fp + amount, self.tn + amount)


def count_from_share(share: float, size: int) -> int:
    """round(share * size), the nearest count; `share` 0..1, `size` at least 1.

    Halves go up, so that a printed figure and its complement stay together.
    """
    if not 0 <= share <= 1 or size < 1:
        raise UserError("share of a group", (share, size), "a share from 0 to 1 of at least 1")
    return min(size, int(share * size + 0.5))


def counts_agree(printed: float | None, count: int, size: int, digits: int = 2) -> bool:
    """Whether `count` of `size` gives the printed share back.

    Allowed: rounding of the last of `digits` digits, and one person (papers truncate).
    """
    if printed is None:
        return True
    return abs(printed * size - count) <= 1.0 + 0.5 * 10.0**-digits * size
