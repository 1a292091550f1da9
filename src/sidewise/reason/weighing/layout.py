"""The network of one region as the engine wants it: both sides, the whole person, complaints.

Names: a condition of a side is "cuff.left"; one of the whole person keeps its id. A reading of a
paired item is "neer_pain.left"; one of an unpaired item or a question speaks for both sides and
the person together.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np

from sidewise import network as engine
from sidewise.evidence.conditions import Condition, Conditions, Families, conditions_of, families_of
from sidewise.evidence.fit.fitted import Fitted, fitted_of
from sidewise.ground.arrays import BoolArray, IndexArray
from sidewise.knowledge.region import Region
from sidewise.protocol import Protocol, Reading, protocol_of

SIDES = ("left", "right")


@dataclass(frozen=True, slots=True)
class Seat:
    """Where a reading of the protocol stands in the network: its side, and its row in the fit."""

    reading: Reading
    side: str
    row: int
    name: str


class EnginePlaces(NamedTuple):
    """Numbers of readings of the engine, and of columns of its links."""

    readings: IndexArray
    links: IndexArray


@dataclass(frozen=True)
class Layout:
    """The structure of one region for one set of complaint sides, and where everything stands."""

    structure: engine.Structure
    seats: tuple[Seat, ...]
    conditions: Conditions
    families: Families
    painless_sides: tuple[str, ...]
    arcs: IndexArray
    silent: BoolArray
    rows: IndexArray
    family_rows: IndexArray
    complaint_columns: IndexArray

    @cached_property
    def link_rows(self) -> IndexArray:
        """Row of the fit of each link of the engine."""
        structure = self.structure
        parents = [len(parents) for parents in structure.parent_numbers]
        return np.repeat(self.rows, parents)[structure.link_rows[0]]

    def of_rows(self, rows: IndexArray) -> EnginePlaces:
        """Readings of these rows of the fit, on either side, and their links."""
        known = 1 + max(self.rows.max(initial=0), rows.max(initial=0))
        wanted = np.zeros(known, dtype=bool)
        wanted[rows] = True
        return EnginePlaces(
            np.flatnonzero(wanted[self.rows]), np.flatnonzero(wanted[self.link_rows])
        )


def variable_name(condition: Condition, side: str | None) -> str:
    """The engine's name of a condition on a side, or of the whole person."""
    return f"{condition.id}.{side}" if condition.scope == "side" else condition.id


def network_layout(region: Region, complaint: tuple[str, ...]) -> Layout:
    """The structure for these complaint sides; built once."""
    return region.view(_layout, complaint)


def _layout(region: Region, complaint: tuple[str, ...]) -> Layout:
    protocol, conditions, families = protocol_of(region), conditions_of(region), families_of(region)
    fitted = fitted_of(region)
    row_of = {name: row for row, name in enumerate(fitted.readings)}
    seats = tuple(_seats(protocol, row_of, fitted.parent))
    readings = tuple(_engine_reading(seat, conditions, fitted.parent, families) for seat in seats)
    structure = engine.Structure(
        variables=tuple(_variables(conditions)),
        readings=readings,
        pairs=tuple(_pairs(conditions)),
        complaints=tuple(_complaint(conditions, side) for side in complaint),
    )
    painless = tuple(side for side in SIDES if side not in complaint)
    arcs, silent = _link_arcs(structure, seats, fitted, painless)
    family_index = {name: i for i, name in enumerate(fitted.families)}
    return Layout(
        structure=structure,
        seats=seats,
        conditions=conditions,
        families=families,
        painless_sides=painless,
        arcs=arcs,
        silent=silent,
        rows=np.array([seat.row for seat in seats]),
        family_rows=np.array([family_index[f.rpartition(".")[0]] for f in structure.families]),
        complaint_columns=_complaint_columns(structure, conditions),
    )


def _variables(conditions: Conditions) -> Iterator[engine.Variable]:
    for condition in conditions.network:
        sides = SIDES if condition.scope == "side" else (None,)
        for side in sides:
            yield engine.Variable(variable_name(condition, side), len(condition.levels))


def _pairs(conditions: Conditions) -> Iterator[engine.SidePair]:
    for condition in conditions.network:
        if condition.scope == "side":
            yield engine.SidePair(*(variable_name(condition, side) for side in SIDES))


def _complaint(conditions: Conditions, side: str) -> engine.Complaint:
    parents = [
        variable_name(condition, side)
        for condition in conditions.network
        if any(condition.complaint_link)
    ]
    return engine.Complaint(f"complaint.{side}", tuple(parents))


def _seats(protocol: Protocol, row_of: dict[str, int], parent: BoolArray) -> Iterator[Seat]:
    for reading in protocol.readings:
        row = row_of.get(reading.id)
        if row is None or not parent[row].any():
            continue
        item = protocol.by_id.get(reading.item)
        if item is not None and item.paired:
            for side in SIDES:
                yield Seat(reading, side, row, f"{reading.id}.{side}")
        else:
            yield Seat(reading, "midline", row, reading.id)


def _engine_reading(
    seat: Seat, conditions: Conditions, parent: BoolArray, families: Families
) -> engine.Reading:
    place = families.place.get(seat.reading.id)
    family, mechanism = (f"{name}.{seat.side}" for name in place) if place else (None, None)
    parents = tuple(_parents(seat, conditions, parent))
    # Findings depend on one another through what ails their own structure and those beside it;
    # other causes act apart.
    near = families.near(place[0]) if place else frozenset()
    core = tuple(name for name, condition in parents if condition.structure_family in near)
    return engine.Reading(
        name=seat.name,
        parents=tuple(name for name, _ in parents),
        family=family,
        mechanism=mechanism,
        core=core if place else None,
    )


def _parents(
    seat: Seat, conditions: Conditions, parent: BoolArray | None
) -> Iterator[tuple[str, Condition]]:
    """The variables a seat listens to: its side's, or for the midline those of both sides."""
    for condition in conditions.network:
        if parent is not None and not parent[seat.row, conditions.slices[condition.id]].any():
            continue
        sides: tuple[str | None, ...] = (None,)
        if condition.scope == "side":
            sides = SIDES if seat.side == "midline" else (seat.side,)
        for side in sides:
            yield variable_name(condition, side), condition


def _link_arcs(
    structure: engine.Structure, seats: tuple[Seat, ...], fitted: Fitted, painless: tuple[str, ...]
) -> tuple[IndexArray, BoolArray]:
    """For each flat link of the engine the arc of the fit it takes its value from.

    Silent links are zero: levels without an arc, and links from a complaint-free side to a
    pain reading, because what hurts nobody does not make a manoeuvre painful.
    """
    arc_of = np.full((len(fitted.readings), len(fitted.conditions.columns)), -1, dtype=np.intp)
    arc_of[fitted.reading_of, fitted.column_of] = np.arange(len(fitted.reading_of))
    places = np.zeros(structure.link_count, dtype=np.intp)
    silent = np.zeros(structure.link_count, dtype=bool)
    for number, seat in enumerate(seats):
        for position, name in enumerate(structure.readings[number].parents):
            condition, _, side = name.partition(".")
            here = structure.link_columns(number, position)
            arcs = arc_of[seat.row, fitted.conditions.slices[condition]]
            places[here] = np.maximum(arcs, 0)
            silent[here] = (arcs < 0) | (seat.reading.painful and side in painless)
    return places, silent


def _complaint_columns(structure: engine.Structure, conditions: Conditions) -> IndexArray:
    places = np.zeros(structure.complaint_link_count, dtype=np.intp)
    for number, complaint in enumerate(structure.complaints):
        for position, name in enumerate(complaint.parents):
            there = conditions.slices[name.partition(".")[0]]
            places[structure.complaint_columns(number, position)] = np.arange(
                there.start, there.stop
            )
    return places
