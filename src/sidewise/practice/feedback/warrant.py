"""What perfect reading of the findings so far warrants: the chance of each group of conditions.

A group is an exact "or" in the network: one more reading whose parents are its members, each link
one and the leak zero, so that it is absent only where none of them is there. Its chance is then

    1 - P(findings, group absent) / P(findings)

with the mean of the parameters, as for the gains of a plan; `interpret` gives the mean over draws
of the parameters, and the two differ by less than its interval.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from sidewise import network as engine
from sidewise.evidence.conditions import conditions_of
from sidewise.ground.arrays import Array
from sidewise.knowledge.region import Region
from sidewise.practice.chances import ChanceGroup, member_levels
from sidewise.practice.ways import patient_ways
from sidewise.protocol import protocol_of
from sidewise.reason.interpretation import error_of_one_reading, setting_used
from sidewise.reason.judging.flags import flag_book_of, meaningless, red_flags, withheld
from sidewise.reason.judging.grading import grading_of
from sidewise.reason.judging.judge import Judge
from sidewise.reason.judging.observations import observe
from sidewise.reason.judging.results import record_with_results
from sidewise.reason.judging.variants import variants, variants_of
from sidewise.reason.weighing.layout import Layout, network_layout
from sidewise.reason.weighing.posterior import enter_findings
from sidewise.reason.weighing.suggestions import open_readings, variables_of_interest
from sidewise.record import Record

DRAWS = 500


@dataclass(frozen=True)
class Moment:
    """A record as it stands: its network and findings, what is open, and what is in doubt.

    still: numbers of the readings not examined yet. interest: of the variables that count.
    """

    region: Region
    record: Record
    layout: Layout
    network: engine.Network
    evidence: engine.Evidence
    still: tuple[int, ...]
    interest: tuple[int, ...]


def moment_of(record: Record, region: Region) -> Moment:
    """The moment at which this much is known."""
    protocol = protocol_of(region)
    record = record_with_results(record, protocol)
    setting, _ = setting_used(record, None)
    judge = Judge(protocol, record, error_of_one_reading(region))
    book = flag_book_of(region)
    flags = red_flags(judge, book)
    void = meaningless(flags, book)
    laid = network_layout(region, record.context.complaint)
    seen = observe(judge, laid, variants(judge, variants_of(region)), void, grading_of(region))
    entered = enter_findings(record, region, seen, setting, DRAWS)
    still = tuple(open_readings(laid, judge, withheld(flags, book), void))
    interest = tuple(variables_of_interest(laid, void))
    return Moment(region, record, laid, entered.mean, entered.evidence, still, interest)


def warranted_chances(moment: Moment) -> dict[str, float]:
    """The chance of each group of the region, by its id."""
    groups = patient_ways(moment.region).groups
    complaint = moment.record.context.complaint
    structure = moment.region.view(_with_groups, complaint)
    network = engine.Network(structure, _group_parameters(moment, structure))
    numbers = range(len(moment.layout.structure.readings), len(structure.readings))
    log_p = engine.solve(
        network, _each_absent(moment.evidence, numbers), marginals=False
    ).log_evidence
    share = np.clip(1.0 - np.exp(log_p[1:] - log_p[0]), 0.0, 1.0)
    return {group.id: float(chance) for group, chance in zip(groups, share, strict=True)}


def _each_absent(evidence: engine.Evidence, numbers: range) -> engine.Evidence:
    """The evidence as it is, then once more for each of these readings, found absent.

    One elimination of all rows is ten times as fast as one for each; a pair (1, 1) says nothing.
    """
    count = len(numbers)
    silent = np.ones((count + 1, count))
    present = silent - np.vstack([np.zeros(count), np.eye(count)])
    return engine.Evidence(
        (*evidence.readings, *numbers),
        np.hstack([np.repeat(evidence.absent, count + 1, axis=0), silent]),
        np.hstack([np.repeat(evidence.present, count + 1, axis=0), present]),
        evidence.alone,
    )


def _with_groups(region: Region, complaint: tuple[str, ...]) -> engine.Structure:
    """The structure of these sides with one more reading for each group."""
    plain = network_layout(region, complaint).structure
    groups = patient_ways(region).groups
    more = tuple(
        engine.Reading(f"group {group.id}", tuple(_parents(region, group, complaint)))
        for group in groups
    )
    return engine.Structure(
        variables=plain.variables,
        readings=(*plain.readings, *more),
        pairs=plain.pairs,
        complaints=plain.complaints,
    )


def _parents(
    region: Region, group: ChanceGroup, complaint: tuple[str, ...]
) -> dict[str, frozenset[int]]:
    """The variables of a group with the levels that count."""
    conditions = conditions_of(region)
    found = {}
    for name, levels in member_levels(group, conditions).items():
        sided = conditions.by_id[name].scope == "side"
        for side in (complaint or ("left", "right")) if sided else ("",):
            found[f"{name}.{side}" if side else name] = levels
    return found


def _group_parameters(moment: Moment, structure: engine.Structure) -> engine.Parameters:
    known = moment.network.parameters
    complaint = moment.record.context.complaint
    links = []
    for group in patient_ways(moment.region).groups:
        for name, counts in _parents(moment.region, group, complaint).items():
            levels = next(one.levels for one in structure.variables if one.name == name)
            links += [1.0 if level in counts else 0.0 for level in range(1, levels)]
    groups = len(patient_ways(moment.region).groups)
    return replace(
        known,
        link=_beside(known.link, np.array(links)),
        leak=_beside(known.leak, np.zeros(groups)),
    )


def _beside(rows: Array, more: Array) -> Array:
    return np.concatenate([rows, np.repeat(more[None], len(rows), axis=0)], axis=1)


def true_groups(
    region: Region, present: Mapping[tuple[str, str], str], complaint: tuple[str, ...]
) -> set[str]:
    """The groups that are there. present: levels in words by condition and side."""
    conditions = conditions_of(region)
    found = set()
    for group in patient_ways(region).groups:
        for name, counts in _parents(region, group, complaint).items():
            condition, _, side = name.partition(".")
            level = present.get((condition, side))
            levels = conditions.by_id[condition].levels
            if level is not None and level in levels and levels.index(level) in counts:
                found.add(group.id)
    return found
