"""A sheet for each station's author: how the station measured, item by item, and what was said."""

from __future__ import annotations

import numpy as np

from sidewise.teaching.reliability.item_analysis import ItemFigures
from sidewise.teaching.report.letter import Letter, letter_text, listed_lines
from sidewise.teaching.report.text import column_lines, decimal_text, interval_text
from sidewise.teaching.sitting.sitting import Sitting
from sidewise.teaching.sitting.stations import StationFigures

# Items that earn less than this share of their marks, or hang together less than this with the
# others, are named to the author (the limits of the report, recalled).
HARD, LOOSE = 0.3, 0.2
# A third of fewer students shows chance: our judgement. A longer list of comments is not read.
FEWEST_FOR_THIRDS, MOST_COMMENTS = 30, 40


def station_letters(e: Sitting) -> tuple[Letter, ...]:
    """To each station's author: how it measured, and which items to look at."""
    return tuple(Letter("stations", s.station, _station_letter(e, s)) for s in e.stations)


def _station_letter(e: Sitting, s: StationFigures) -> str:
    grades = ", ".join(f"{w} {n}" for w, n in zip(e.marks.scale.words, s.grades, strict=True))
    disagree = "" if s.two_by_two is None else (
        f" {s.two_by_two.disagree} students would pass by marks and fail by rating, or "
        "the other way."
    )  # fmt: skip
    return letter_text(
        f"To the author of station {s.station}",
        [
            f"{s.n} students; mean {decimal_text(s.mean, 1)}, spread {decimal_text(s.sd, 1)} "
            "percent. "
            f"Pass mark {interval_text(s.line.cut, 1)}; "
            f"{'-' if s.failures is None else s.failures} below it.",
            f"Link to the other stations {interval_text(s.discrimination)}; "
            f"{interval_text(s.line.slope, 1)} points of 100 for each step of the global rating, "
            f"which explains {decimal_text(s.line.r_squared)} of the spread. Alpha of its items "
            f"{interval_text(s.alpha)}.",
            f"Global ratings: {grades}.{disagree}",
            _signs_said(s),
            _items_said(s),
            _item_table(e, s),
            " ".join(s.warnings),
            listed_lines("What examiners wrote", _comments(e, s.station)),
        ],
    )


def _signs_said(s: StationFigures) -> str:
    if not s.signs:
        return "No sign that the station measures something else than the others do."
    state = "All three signs" if s.stands_apart else f"{len(s.signs)} of three signs"
    return f"{state} that the station measures something else: {'; '.join(s.signs)}."


def _items_said(s: StationFigures) -> str:
    hard = [i.item for i in s.items if i.facility < HARD]
    loose = [i.item for i in s.items if i.discrimination < LOOSE]
    parts = []
    if hard:
        parts.append(
            f"Items that earned under {100 * HARD:.0f}% of their marks: {', '.join(hard)}."
        )
    if loose:
        parts.append(f"Items that hang together little with the others: {', '.join(loose)}.")
    return " ".join(parts)


def _item_table(e: Sitting, s: StationFigures) -> str:
    """Every item: share of its marks earned by all, by the lower and upper third of the class (by
    their other stations), link to the other items, blanks."""
    if len(s.items) < 2:
        return ""
    thirds = _thirds(e, s.station)
    heads = ["item", "share of marks", "lower third", "upper third", "link", "blank"]
    rows = [_item_row(i, thirds.get(i.item)) for i in s.items]
    return "\n".join(column_lines([heads, *rows]))


def _item_row(i: ItemFigures, third: tuple[float, float] | None) -> list[str]:
    low, high = third or (float("nan"), float("nan"))
    return [i.item, decimal_text(i.facility), decimal_text(low), decimal_text(high),
            decimal_text(i.discrimination), str(i.blank)]  # fmt: skip


def _thirds(e: Sitting, station: str) -> dict[str, tuple[float, float]]:
    """By item the share earned in the lower and the upper third; none below thirty students."""
    place = e.table.stations.index(station)
    others = np.delete(e.table.score, place, axis=1)
    if others.shape[1] == 0:
        return {}
    rest = others.mean(axis=1)
    known = np.flatnonzero(np.isfinite(rest))
    if known.size < FEWEST_FOR_THIRDS:
        return {}
    order = known[np.argsort(rest[known], kind="stable")]
    third = known.size // 3
    parts = [{e.table.students[i] for i in chosen} for chosen in (order[:third], order[-third:])]
    table = e.marks.table
    table = table[(table["station"] == station) & table["mark"].notna()]
    share = table["mark"] / table["maximum"]
    found = {}
    for item in table["item"].unique():
        own = table["item"] == item
        low, high = (float(share[own & table["student"].isin(part)].mean()) for part in parts)
        found[str(item)] = (low, high)
    return found


def _comments(e: Sitting, station: str) -> list[str]:
    """Comments on performances at the station, without the students' codes."""
    table = e.marks.table
    rows = table[(table["station"] == station) & (table["comment"].str.strip() != "")]
    return list(dict.fromkeys(str(comment).strip() for comment in rows["comment"]))[:MOST_COMMENTS]
