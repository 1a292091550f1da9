"""Simulated sittings with known true scores: are the chances of the other decision what they claim?

Run by itself it goes through all designs and prints the tables of docs/marks-calibration.md:

    python -m tests.teaching.pass_marks.simulated_sittings --rounds 8 --seed 20264 [--kept FOLDER]

A round is some sittings of every design (`SITTINGS`, more of the small classes), with a seed of its
own. With a folder each round is kept when it is finished, and the same command goes on after those
that are there.

A student has an ability; a performance adds what is the student's own at that station and the
judgement's error; an examiner stands at one station of one circuit and takes off a severity. The
global rating is given by the same examiner, who saw the performance with another error. The right
decision is the one that most such examinations would give at the student's ability, with the pass
marks that the line has in a class without end.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from dataclasses import dataclass, fields
from pathlib import Path

import numpy as np
import pandas as pd

from sidewise.ground.interval import Z95
from sidewise.teaching.pass_marks.decision_chances import decision_chances
from sidewise.teaching.pass_marks.decisions import Rule
from sidewise.teaching.pass_marks.examination_mark import examination_mark
from sidewise.teaching.pass_marks.true_scores import true_scores
from sidewise.teaching.reliability.variance_components import fit_variance
from sidewise.teaching.sitting.chances import REGRESSION, drawn_cuts
from sidewise.teaching.tables.scores import Sheet, score_sheet

STATIONS, STUDENTS = (6, 10, 16), (12, 30, 100, 500)
EDGES = np.array([-12.0, -5.0, 4.0, 13.0])
ENDLESS, REPEATS = 4000, 2000
SITTINGS = {12: 42, 30: 33, 100: 20, 500: 10}
"""Sittings of every design in a round, by how many students each has."""


@dataclass(frozen=True)
class Circumstances:
    """One kind of examination; standard deviations in points of 100."""

    stations: int
    students: int
    circuits: int = 1
    ability: float = 7.0
    own: float = 9.0
    judgement: float = 7.0
    severity: float = 3.0
    least: float = 0.0

    @property
    def needed(self) -> int:
        """The minimum of stations: a share of them, 0 for none."""
        return round(self.least * self.stations)


@dataclass(frozen=True)
class Outcome:
    """Students of many sittings: what was decided, claimed and true, and in which sitting."""

    passed: np.ndarray
    claimed: np.ndarray
    wrong: np.ndarray
    sitting: np.ndarray


def simulate(c: Circumstances, sittings: int, seed: int) -> Outcome:
    """Every student of `sittings` sittings."""
    rng = np.random.default_rng([seed, c.stations, c.students, c.circuits, c.needed])
    parts = [part for part in (_one(c, rng) for _ in range(sittings)) if part is not None]
    which = np.repeat(np.arange(len(parts)), [len(part[0]) for part in parts])
    return Outcome(*(np.concatenate(column) for column in zip(*parts, strict=True)), which)


def _one(c: Circumstances, rng: np.random.Generator) -> tuple[np.ndarray, ...] | None:
    ease = 62 + rng.normal(0, 5, c.stations)
    severity = rng.normal(0, c.severity, (c.circuits, c.stations))
    ability = rng.normal(0, c.ability, c.students)
    circuit = np.arange(c.students) % c.circuits
    score, rating = _marks(c, ease, severity, ability, circuit, rng)
    table = score_sheet(_frame(score, rating, circuit))
    claimed = _claimed(c, table, _frame(score, rating, circuit))
    if claimed is None:
        return None
    passed, right = claimed
    border = _border(c, ease, severity, rng)
    wrong = passed != (ability >= border)
    return passed, np.where(passed, 1 - right, right), wrong


def _marks(
    c: Circumstances, ease: np.ndarray, severity: np.ndarray, ability: np.ndarray,
    circuit: np.ndarray, rng: np.random.Generator,
) -> tuple[np.ndarray, np.ndarray]:  # fmt: skip
    shape = (ability.size, c.stations)
    shown = ability[:, None] + rng.normal(0, c.own, shape) - severity[circuit]
    score = ease + shown + rng.normal(0, c.judgement, shape)
    return score, np.digitize(shown + rng.normal(0, c.judgement, shape), EDGES).astype(float)


def _frame(score: np.ndarray, rating: np.ndarray, circuit: np.ndarray) -> pd.DataFrame:
    students, stations = score.shape
    student = np.repeat(np.arange(students), stations)
    station = np.tile(np.arange(stations), students)
    return pd.DataFrame({
        "sitting": "1", "circuit": circuit[student].astype(str), "session": "1",
        "student": [f"{i:04d}" for i in student], "station": [f"t{j}" for j in station],
        "examiner": [f"e{k}" for k in circuit[student] * stations + station],
        "score": score.ravel(), "global_rating": rating.ravel(), "critical_error": False,
    })  # fmt: skip


def _claimed(
    c: Circumstances, table: Sheet, scores: pd.DataFrame
) -> tuple[np.ndarray, np.ndarray] | None:
    """Who passes, and each one's chance that passing is right; None without a pass mark."""
    mark = examination_mark(table, 1, draws=400)
    if len(mark.stations) < c.stations:
        return None
    cuts = dict(zip(mark.stations, mark.station_cuts, strict=True))
    rule = Rule(mark.value, mark.best.se or 0.0, np.nan, stations=c.needed, method=REGRESSION)
    components = fit_variance(scores, intervals="wald")
    true = true_scores(scores, components)
    drawn = drawn_cuts(table, mark, rule, cuts, np.random.default_rng(1))
    chances = decision_chances(table, true, drawn, c.needed)
    enough = (table.score >= mark.station_cuts).sum(axis=1) >= c.needed
    return (table.total() >= rule.applied) & enough, chances.right


def _border(
    c: Circumstances, ease: np.ndarray, severity: np.ndarray, rng: np.random.Generator
) -> float:
    """The ability at which half of such examinations pass a student by the true pass marks."""
    many = rng.normal(0, c.ability, ENDLESS)
    score, rating = _marks(c, ease, severity, many, np.arange(ENDLESS) % c.circuits, rng)
    gc, yc = rating - rating.mean(axis=0), score - score.mean(axis=0)
    slope = (gc * yc).sum(axis=0) / (gc**2).sum(axis=0)
    cuts = score.mean(axis=0) + slope * (1 - rating.mean(axis=0))
    level = ease - severity.mean(axis=0)
    spread = np.sqrt(c.own**2 + c.judgement**2 + c.severity**2)
    errors = rng.normal(0, spread, (REPEATS, c.stations))
    asked = cuts.mean() - level.mean() - errors.mean(axis=1)
    if c.needed:
        by_station = np.sort(cuts - level - errors, axis=1)[:, c.needed - 1]
        asked = np.maximum(asked, by_station)
        return float(np.median(asked))
    return float(cuts.mean() - level.mean())


def by_tenth(found: Outcome) -> pd.DataFrame:
    """Claimed and realised per tenth of the claimed chance, passes and fails apart; `error` is the
    standard error of their difference, students of one sitting taken together: they share the pass
    mark and its luck."""
    rows = []
    for name, chosen in (("pass", found.passed), ("fail", ~found.passed)):
        claimed, wrong = found.claimed[chosen], found.wrong[chosen]
        sitting = found.sitting[chosen]
        tenth = np.minimum((claimed * 10).astype(int), 9)
        for k in np.unique(tenth):
            inside = tenth == k
            gap = claimed[inside] - wrong[inside]
            _, place = np.unique(sitting[inside], return_inverse=True)
            error = np.sqrt((np.bincount(place, gap - gap.mean()) ** 2).sum()) / gap.size
            rows.append((name, k, gap.size, claimed[inside].mean(), wrong[inside].mean(), error))
    columns = ["decision", "tenth", "students", "claimed", "realised", "error"]
    return pd.DataFrame(rows, columns=columns)


def joined(parts: list[Outcome]) -> Outcome:
    """The students of several kinds of examination together."""
    first = np.cumsum([0, *(p.sitting.max() + 1 for p in parts)])
    return Outcome(
        *(
            np.concatenate([getattr(p, name) for p in parts])
            for name in ("passed", "claimed", "wrong")
        ),
        np.concatenate([p.sitting + at for p, at in zip(parts, first, strict=False)]),
    )


def designs() -> list[Circumstances]:
    """Every number of stations and students, with one circuit or two, with and without a minimum
    of stations, reliable and less so (a balanced half of the eight)."""
    return [
        Circumstances(j, n, circuits, own=own, least=least)
        for n in STUDENTS[::-1]
        for j in STATIONS
        for circuits, own, least in (
            (1, 7.0, 0.0), (2, 11.0, 0.0), (2, 7.0, 0.6), (1, 11.0, 0.6)
        )
    ]  # fmt: skip


def proved(table: pd.DataFrame, least: int, points: float = 0.03) -> pd.DataFrame:
    """The tenths of `by_tenth` that hold `least` students, with `agrees`: True where the whole 95%
    interval of claimed less realised lies within `points`, so that agreement is shown and not
    only a disagreement missed; False where the whole interval lies outside; None where neither."""
    full = table[table["students"] >= least].copy()
    gap, half = full["claimed"] - full["realised"], Z95 * full["error"]
    full["low"], full["high"] = gap - half, gap + half
    inside = (full["low"] >= -points) & (full["high"] <= points)
    outside = (full["low"] > points) | (full["high"] < -points)
    full["agrees"] = np.where(inside, True, np.where(outside, False, None))
    return full


def one_round(seed: int, share: float = 1.0) -> list[Outcome]:
    """Some sittings of every design, in the order of `designs`; share: of `SITTINGS`."""
    return [simulate(c, max(1, round(share * SITTINGS[c.students])), seed) for c in designs()]


def kept_round(folder: Path, seed: int) -> list[Outcome]:
    """As `one_round`, from the folder where it is there, else made and put there."""
    path = folder / f"round-{seed}.npz"
    if not path.exists():
        made = one_round(seed)
        part = path.with_suffix(".part")
        with part.open("wb") as file:
            np.savez(file, **{f"{i}_{f.name}": getattr(o, f.name)
                              for i, o in enumerate(made) for f in fields(Outcome)})  # fmt: skip
        part.replace(path)
    with np.load(path) as data:
        return [Outcome(*(data[f"{i}_{f.name}"] for f in fields(Outcome)))
                for i in range(len(designs()))]  # fmt: skip


def tables(found: list[list[Outcome]]) -> Iterator[str]:
    """All rounds together, by tenth; then the same by each circumstance."""
    per_design = list(zip(designs(), map(joined, map(list, zip(*found, strict=True))), strict=True))
    everyone = joined([o for _, o in per_design])
    sittings = everyone.sitting.max() + 1
    yield f"{everyone.passed.size:,} students of {sittings:,} sittings, {len(found)} rounds"
    yield proved(by_tenth(everyone), 0).round(4).to_string(index=False)
    for field in ("students", "stations", "circuits", "own", "least"):
        for value in sorted({getattr(c, field) for c, _ in per_design}):
            part = joined([o for c, o in per_design if getattr(c, field) == value])
            yield f"\n{field} {value}\n{proved(by_tenth(part), 0).round(4).to_string(index=False)}"


def main(words: list[str]) -> None:
    """Tables to standard output, progress aside."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=8)
    parser.add_argument("--seed", type=int, default=20264, help="of the first round")
    parser.add_argument("--kept", type=Path, help="a folder of finished rounds")
    asked = parser.parse_args(words)
    found = []
    for seed in range(asked.seed, asked.seed + asked.rounds):
        found.append(kept_round(asked.kept, seed) if asked.kept else one_round(seed))
        print(f"round {len(found)} of {asked.rounds}", file=sys.stderr, flush=True)
    print("\n".join(tables(found)))


if __name__ == "__main__":
    main(sys.argv[1:])
