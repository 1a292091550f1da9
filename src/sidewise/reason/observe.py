"""Which readings speak on a record, how firmly, and which were seen but weigh nothing."""

from __future__ import annotations

from dataclasses import dataclass

from sidewise.evidence.conditions import load_families
from sidewise.reason.engine.evidence import Observation
from sidewise.reason.judge import EQUIVOCAL, Judge, State, Verdict
from sidewise.reason.net import Layout, Seat
from sidewise.reason.variants import Variants


@dataclass(frozen=True, slots=True)
class Spoken:
    """A reading that counts: its seat, the verdict, and what it hands to the network."""

    seat: Seat
    verdict: Verdict
    observation: Observation


@dataclass(frozen=True, slots=True)
class Silent:
    """A reading that was seen and weighs nothing, and why."""

    seat: Seat
    because: str


@dataclass(frozen=True, slots=True)
class Observed:
    """Everything the record says to the network."""

    spoken: tuple[Spoken, ...]
    silent: tuple[Silent, ...]

    @property
    def findings(self) -> dict[str, Observation]:
        """By the network's name of each reading."""
        return {entry.seat.name: entry.observation for entry in self.spoken}


def observe(judge: Judge, layout: Layout, variants: Variants) -> Observed:
    """Judge every reading of the network on the record.

    Of several readings of one look only the first that can be judged is a witness: the order is
    fixed in the knowledge, so that it cannot be chosen after looking.
    """
    groups = load_families(judge.record.region).witness_group
    spoken: list[Spoken] = []
    silent: list[Silent] = []
    taken: set[tuple[tuple[str, ...], str]] = set()
    for seat in layout.seats:
        verdict = judge.reading(seat.reading, seat.side)
        if verdict.state is State.NOT_INTERPRETABLE:
            silent.append(Silent(seat, verdict.because))
        if not verdict.known:
            continue
        group = groups.get(seat.reading.id)
        if group is not None and (group, seat.side) in taken:
            silent.append(Silent(seat, "another reading of the same look already speaks"))
            continue
        if group is not None:
            taken.add((group, seat.side))
        excuse = variants.weights.get((seat.reading.item, seat.side))
        if excuse == "nothing" and verdict.state is not State.NOT_MET:
            silent.append(Silent(seat, "a normal variant here"))
            continue
        spoken.append(Spoken(seat, verdict, _observation(verdict, excuse == "soft")))
    return Observed(tuple(spoken), tuple(silent))


def _observation(verdict: Verdict, excused_softly: bool) -> Observation:
    if excused_softly and verdict.state is State.MET:
        return (1 - EQUIVOCAL, EQUIVOCAL)
    if verdict.state is State.SOFT:
        return (1 - verdict.weight, verdict.weight)
    return verdict.state is State.MET
