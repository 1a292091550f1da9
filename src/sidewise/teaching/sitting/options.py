"""What the reader chooses before an analysis, checked when made."""

from __future__ import annotations

from dataclasses import dataclass

from sidewise.errors import UserError
from sidewise.teaching.pass_marks.decisions import Critical
from sidewise.teaching.pass_marks.judged import Angoff, Ebel, HofsteeBox

METHODS = (
    "borderline regression",
    "borderline group",
    "contrasting groups",
    "angoff",
    "ebel",
    "hofstee",
    "carried forward",
)
MOST_FURTHER = 60


@dataclass(frozen=True, slots=True)
class SittingOptions:
    """How marks are to be judged.

    `method` sets the pass mark that decides; `add_sem` how many standard errors of measurement are
    added to it; `stations_to_pass` how many stations must be passed besides (0: none); `without`
    stations to leave out; `draws` and `seed` of the bootstrap; `near` the probability of the other
    decision above which a student is named, `look_again` that above which the decision is held
    (None: never); `critical` whether a critical error holds or fails; `carried` a pass mark of an
    earlier sitting, percent.
    """

    method: str = "borderline regression"
    add_sem: float = 0.0
    stations_to_pass: int = 0
    without: tuple[str, ...] = ()
    draws: int = 2000
    seed: int = 1
    near: float = 0.10
    wanted: float = 0.8
    angoff: Angoff | None = None
    hofstee: HofsteeBox | None = None
    carried: float | None = None
    critical: Critical = "hold"
    look_again: float | None = None
    ebel: Ebel | None = None

    def __post_init__(self) -> None:
        if self.method not in METHODS:
            raise UserError("method", self.method, f"one of: {', '.join(METHODS)}", "")
        if self.method == "angoff" and self.angoff is None:
            raise UserError("method", "angoff", "the judges' table as well", "Give --angoff FILE.")
        if self.method == "ebel" and self.ebel is None:
            raise UserError(
                "method", "ebel", "the judges' tables as well",
                "Give --ebel FILE and --ebel-shares FILE.",
            )  # fmt: skip
        if self.method == "hofstee" and self.hofstee is None:
            raise UserError(
                "method", "hofstee", "the judges' limits as well", "Give --hofstee 50,66,4,40."
            )
        if self.method == "carried forward" and self.carried is None:
            raise UserError("method", self.method, "the mark as well", "Give --pass-mark 54.5.")
        if self.carried is not None and not 0 < self.carried < 100:
            raise UserError("pass-mark", self.carried, "a percentage between 0 and 100", "")
        critical_rule(self.critical)
        if self.look_again is not None and not self.near <= self.look_again < 0.5:
            raise UserError(
                "look-again", self.look_again, f"a probability from {self.near:g} to below 0.5", ""
            )
        if self.stations_to_pass < 0:
            raise UserError("stations-to-pass", self.stations_to_pass, "0 or more", "")
        if not 0 <= self.add_sem <= 3:
            raise UserError("add-sem", self.add_sem, "0 to 3 standard errors", "Usual: 0 or 1.")
        if not 0 < self.near < 0.5:
            raise UserError("near", self.near, "a probability between 0 and 0.5", "")
        if self.draws and not 100 <= self.draws <= 100_000:
            raise UserError("draws", self.draws, "0, or 100 to 100,000", "")


def hofstee_box(text: str) -> HofsteeBox:
    """The judges' limits from "50,66,4,40": lowest and highest mark, lowest and highest percent."""
    try:
        parts = [float(part) for part in text.split(",")]
    except ValueError:
        parts = []
    if len(parts) != 4:
        raise UserError(
            "hofstee",
            text,
            "four numbers: lowest and highest pass mark, lowest and highest percent failing",
            "For example 50,66,4,40.",
        )
    return HofsteeBox(parts[0], parts[1], parts[2] / 100, parts[3] / 100)


def _is_row(text: str) -> bool:
    # Digits of this alphabet only, and no more of them than rows that a table here can have.
    return text.isascii() and text.isdigit() and len(text) <= 7


def row_numbers(text: str | None) -> frozenset[int]:
    """Rows from "17,45-50"; the headings are row 1."""
    rows: set[int] = set()
    for part in (text or "").split(","):
        first, dash, last = part.strip().partition("-")
        if not first and not dash:
            continue
        if not _is_row(first) or (dash and not _is_row(last)) or int(last or first) < int(first):
            raise UserError("leave-out", part, "a row or a range of rows", "For example 17,45-50.")
        rows |= set(range(int(first), int(last or first) + 1))
    return frozenset(rows)


def critical_rule(text: str) -> Critical:
    """What a critical error does."""
    if text == "hold":
        return "hold"
    if text == "fail":
        return "fail"
    raise UserError("critical", text, "hold or fail", "hold leaves it to the board.")


def chosen_method(method: str, carried: float | None) -> str:
    """The method asked for; a carried mark decides unless another method is named."""
    if carried is not None and method == METHODS[0]:
        return "carried forward"
    return method


def further_stations(count: int) -> int:
    """A number of further stations that somebody could run."""
    if not 0 <= count <= MOST_FURTHER:
        raise UserError("recall", count, f"0 to {MOST_FURTHER} stations", "")
    return count
