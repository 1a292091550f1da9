"""Who the patient is and what a perfect examiner would read: drawn from the reasoner's network.

Conditions with their levels on both sides and of the person, given that the side complains; then
the readings, dependent within families as the network has them. Signs of a root are those of one
root: which one is drawn first, and each of its readings is then as much likelier as it is seldom
this root, so that every reading keeps its own share of the patients and none contradicts another.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from sidewise import network as engine
from sidewise.evidence.pretest.person import Case
from sidewise.ground.arrays import Array
from sidewise.knowledge.region import Region
from sidewise.practice.ways import PatientWays, Roots
from sidewise.practice.wishes import Fixed
from sidewise.reason.weighing.layout import Layout, network_layout
from sidewise.reason.weighing.parameters import learned_parameters
from sidewise.reason.weighing.pretest_prior import pretest_prior

DRAWS = 500


@dataclass(frozen=True, slots=True)
class SimulatedPerson:
    """Who comes: age in years, sex, dominant hand, the sides that complain, and where they come."""

    age: int
    sex: str
    dominant: str
    complaint: tuple[str, ...]
    setting: str


@dataclass(frozen=True)
class Drawn:
    """The truth of one patient.

    levels: of every condition, by the network's name ("cuff.left"). readings: whether each is
    there, by the network's name. roots: of each side with a root in trouble, which.
    """

    person: SimulatedPerson
    levels: Mapping[str, int]
    readings: Mapping[str, bool]
    roots: Mapping[str, str]


def network_of(region: Region, person: SimulatedPerson, fixed: Fixed) -> engine.Network:
    """The network of this person, with the mean parameters, as the teacher wishes it.

    What is fixed holds for the complaining sides and for the whole person; the other side is then
    as it is in people of whom that is so.
    """
    laid = network_layout(region, person.complaint)
    case = Case(person.setting, person.age, person.sex, len(person.complaint))
    before = pretest_prior(region, case, person.complaint, DRAWS)
    known = learned_parameters(region, person.complaint, person.setting, DRAWS)
    concordance = known.mean_rest["concordance"]
    parameters = engine.Parameters(
        prior=_fixed_prior(before.mean_prior, concordance, laid, person, fixed),
        link=known.mean_link[None],
        leak=known.mean_leak[None],
        **known.mean_rest,
    )
    return engine.Network(laid.structure, parameters)


def _fixed_prior(
    prior: Array, concordance: Array, laid: Layout, person: SimulatedPerson, fixed: Fixed
) -> Array:
    found = prior.copy()
    for number, variable in enumerate(laid.structure.variables):
        name, _, side = variable.name.partition(".")
        allowed = fixed.levels.get(name)
        if allowed is None or (side and side not in person.complaint):
            continue
        keep = np.zeros(found.shape[-1])
        keep[list(allowed)] = 1.0
        row = prior[0, number] * keep
        # A level of no probability at this age, asked for all the same, is given.
        found[0, number] = row / row.sum() if row.sum() > 0 else keep / keep.sum()
    for pair, numbers in enumerate(laid.structure.pair_numbers):
        sides = [laid.structure.variables[one].name.partition(".") for one in numbers]
        is_fixed = [side in person.complaint for _, _, side in sides]
        if sides[0][0] in fixed.levels and is_fixed[0] != is_fixed[1]:
            held, free = numbers if is_fixed[0] else numbers[::-1]
            found[0, free] = _given_other_side(
                prior[0, held], prior[0, free], concordance[:, pair], found[0, held]
            )
    return found


def _given_other_side(held: Array, free: Array, concordance: Array, fixed: Array) -> Array:
    """Levels of a side given what the other is fixed to. held, free: both as they were before.

    The table of a pair keeps its margins whatever they are: with one side fixed to a level, the
    other would else be drawn as if nothing were known of it, beside a torn cuff as in anybody.
    """
    joint = engine.side_table(held[:, None], free[:, None], concordance)[:, :, 0]
    given = joint / np.where(held > 0, held, 1.0)[:, None]
    row = np.asarray(fixed @ given)
    return row / row.sum() if row.sum() > 0 else free


def draw_truths(
    network: engine.Network,
    ways: PatientWays,
    person: SimulatedPerson,
    count: int,
    rng: np.random.Generator,
) -> Iterator[Drawn]:
    """So many patients of one network: levels given the complaints, then readings."""
    structure = network.structure
    records = engine.simulate_records(network, count, rng)
    names = [structure.readings[number].name for number in records.readings]
    for row, present in zip(records.levels, records.present, strict=True):
        levels = {one.name: int(level) for one, level in zip(structure.variables, row, strict=True)}
        readings = {name: bool(there) for name, there in zip(names, present, strict=True)}
        roots: dict[str, str] = {}
        if ways.roots is not None:
            roots = _roots(ways.roots, levels, rng)
            readings |= _root_signs(network, ways.roots, levels, roots, rng)
        yield Drawn(person, levels, readings, roots)


def _roots(roots: Roots, levels: Mapping[str, int], rng: np.random.Generator) -> dict[str, str]:
    names, weights = list(roots.weights), np.array(list(roots.weights.values()))
    chosen = {}
    for side in ("left", "right"):
        number = int(rng.choice(len(names), p=weights / weights.sum()))
        if levels[f"{roots.condition}.{side}"]:
            chosen[side] = names[number]
    return chosen


def _root_signs(
    network: engine.Network,
    roots: Roots,
    levels: Mapping[str, int],
    chosen: Mapping[str, str],
    rng: np.random.Generator,
) -> dict[str, bool]:
    found = {}
    whole = sum(roots.weights.values())
    for side, root in chosen.items():
        for reading, serving in roots.readings.items():
            name = f"{reading}.{side}"
            if name not in network.structure.reading_index:
                continue
            other, link = root_shares(network, name, levels, f"{roots.condition}.{side}")
            part = sum(roots.weights[one] for one in serving) / whole
            # A sign commoner than its roots (C5) is always there with them; the rest of its
            # share falls to a neighbour, since skin and muscles have more than one root.
            beyond = max(0.0, link - part) / (1.0 - part)
            share = min(1.0, link / part) if root in serving else beyond
            found[name] = bool(rng.random() < 1.0 - (1.0 - other) * (1.0 - share))
    return found


def root_shares(
    network: engine.Network, reading: str, levels: Mapping[str, int], cause: str
) -> tuple[float, float]:
    """Probability of a reading from all other causes and the leak, and from this cause alone."""
    structure = network.structure
    number = structure.reading_index[reading]
    links = network.parameters.link[0]
    spared, own = 1.0 - float(network.parameters.leak[0, number]), 0.0
    for position, parent in enumerate(structure.readings[number].parents):
        level = levels[parent]
        q = float(links[structure.link_columns(number, position)][level - 1]) if level else 0.0
        if parent == cause:
            own = q
        else:
            spared *= 1.0 - q
    return 1.0 - spared, own


def log_truth(network: engine.Network, drawn: Drawn) -> float:
    """Log probability that perfect reading gives the true levels, summed over the conditions.

    The lower, the more misleading the patient.
    """
    structure = network.structure
    answer = engine.solve(network, engine.observed(structure, dict(drawn.readings)))
    shares = [
        answer.marginal[0, number, drawn.levels[variable.name]]
        for number, variable in enumerate(structure.variables)
    ]
    return float(np.log(np.maximum(shares, 1e-12)).sum())


def draw_person(
    ways: PatientWays,
    rng: np.random.Generator,
    *,
    age: int | None = None,
    least: int = 0,
    setting: str | None = None,
) -> SimulatedPerson:
    """Somebody who comes; age and setting as wished, nobody younger than `least` years.

    Shares of settings, sides and dominant hands are our judgement but for the left hand (about
    one in ten, common practice).
    """
    ages = ways.ages
    drawn = -1
    while not max(ages.low, least) <= drawn <= ages.high:
        drawn = round(rng.normal(ages.mean, ages.sd))
    where = str(rng.choice(list(ways.settings), p=list(ways.settings.values())))
    sex = str(rng.choice(["female", "male"]))
    dominant = str(rng.choice(["right", "left"], p=[0.9, 0.1]))
    sides = [("right",), ("left",), ("left", "right")]
    complaint = sides[int(rng.choice(3, p=[0.5, 0.4, 0.1]))]
    return SimulatedPerson(
        age if age is not None else drawn, sex, dominant, complaint, setting or where
    )
