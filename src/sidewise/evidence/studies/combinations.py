"""Published figures of several findings together: what they say, and whether they can be true."""

from __future__ import annotations

from dataclasses import dataclass

from sidewise.errors import UserError, UserErrors
from sidewise.evidence.conditions import Conditions, conditions_of
from sidewise.evidence.studies.rows import Levels, parse_levels
from sidewise.ground.tables import (
    Cells,
    count_cell,
    number_cell,
    probability_cell,
    provenance_mark_cell,
)
from sidewise.knowledge.region import Region
from sidewise.protocol import protocol_of

USES = ("fit", "check", "display")


@dataclass(frozen=True, slots=True)
class Combination:
    """Findings together against one target.

    `least`, `most`: how many of `readings` are positive (both None where none is meant).
    """

    id: str
    target: Levels
    readings: tuple[str, ...]
    rule: str
    least: int | None
    most: int | None
    family: str
    case_mix: str
    series: str
    lr: float | None
    sensitivity: float | None
    specificity: float | None
    diseased: int | None
    others: int | None
    printed: str
    accuracy_row: str
    mark: str
    use: str
    why_not: str
    source: str
    note: str


def parse_rule(rule: str, members: int, place: str) -> tuple[int | None, int | None]:
    """`all`, `any`, `exactly k`, `at least k` as the least and most number positive."""
    word, _, count = rule.rpartition(" ")
    match (word, count):
        case ("", "all"):
            return members, members
        case ("", "any"):
            return 1, members
        case ("exactly", digits) if digits.isdigit():
            return int(digits), int(digits)
        case ("at least", digits) if digits.isdigit():
            return int(digits), members
        case ("", "") | ("any", "combination"):
            return None, None
    raise UserError(place, rule, "all, any, exactly k or at least k")


def parse_combination(
    cells: Cells, conditions: Conditions, readings: frozenset[str]
) -> Combination:
    """One line, checked; UserError names row and cell."""
    place = f"combinations.csv {cells['row']}"
    members = tuple(name for name in cells["readings"].split(";") if name)
    if unknown := set(members) - readings:
        raise UserError(f"{place}.readings", sorted(unknown), "known readings")
    least, most = parse_rule(cells["rule"], len(members), f"{place}.rule")
    found = Combination(
        id=cells["row"],
        target=parse_levels(cells["target"], conditions, f"{place}.target"),
        readings=members,
        rule=cells["rule"],
        least=least,
        most=most,
        family=cells["family"],
        case_mix=cells["case_mix"],
        series=cells["series"],
        lr=number_cell(cells, "lr_pos", place),
        sensitivity=probability_cell(cells, "sensitivity", place),
        specificity=probability_cell(cells, "specificity", place),
        diseased=count_cell(cells, "n_diseased", place),
        others=count_cell(cells, "n_nondiseased", place),
        printed=cells["printed"],
        accuracy_row=cells["accuracy_row"],
        mark=provenance_mark_cell(cells, "mark", place),
        use=cells["use"],
        why_not=cells["why_not"],
        source=cells["source"],
        note=cells["note"],
    )
    _check(found, place)
    return found


def _check(row: Combination, place: str) -> None:
    if row.use not in USES or not row.source:
        raise UserError(f"{place}.use", row.use, f"one of {', '.join(USES)}, with a source")
    if row.use != "fit" and not row.why_not:
        raise UserError(f"{place}.why_not", None, f"why a row is used for {row.use} only")
    figures = row.lr is not None or None not in (row.sensitivity, row.specificity)
    if row.use == "fit" and not (figures and row.readings and row.family and row.diseased):
        raise UserError(f"{place}.use", "fit", "figures, readings, a family and group sizes")


def combinations_of(region: Region) -> tuple[Combination, ...]:
    """The published combinations of a region; none where it lists none."""
    return region.view(_combinations)


def _combinations(region: Region) -> tuple[Combination, ...]:
    if not region.has("combinations"):
        return ()
    readings = frozenset(reading.id for reading in protocol_of(region).readings)
    conditions = conditions_of(region)
    rows, errors = [], []
    for cells in region.part("combinations"):
        try:
            rows.append(parse_combination(cells, conditions, readings))
        except UserError as error:
            errors.append(error)
    if errors:
        raise UserErrors(errors)
    return tuple(rows)
