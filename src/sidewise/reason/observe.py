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
    verdicts = {
        (seat.reading.id, seat.side): judge.reading(seat.reading, seat.side)
        for seat in layout.seats
    }
    spoken: list[Spoken] = []
    silent: list[Silent] = []
    for seat in layout.seats:
        verdict = verdicts[seat.reading.id, seat.side]
        if reason := _silenced(seat, verdict, verdicts, judge.record.region, variants):
            silent.append(Silent(seat, reason))
        elif verdict.known:
            soft = variants.weights.get((seat.reading.item, seat.side)) == "soft"
            spoken.append(Spoken(seat, verdict, _observation(verdict, soft)))
    return Observed(tuple(spoken), tuple(silent))


Verdicts = dict[tuple[str, str], Verdict]


def _silenced(
    seat: Seat, verdict: Verdict, verdicts: Verdicts, region: str, variants: Variants
) -> str | None:
    """Why a reading that was seen weighs nothing, or None."""
    if verdict.state is State.NOT_INTERPRETABLE:
        return verdict.because
    if not verdict.known:
        return None
    group = load_families(region).witness_group.get(seat.reading.id, (seat.reading.id,))
    before = group[: group.index(seat.reading.id)]
    if any((name, seat.side) in verdicts and verdicts[name, seat.side].known for name in before):
        return "another reading of the same look already speaks"
    excuse = variants.weights.get((seat.reading.item, seat.side))
    if excuse == "nothing" and verdict.state is not State.NOT_MET:
        return "a normal variant here"
    return None


def _observation(verdict: Verdict, excused_softly: bool) -> Observation:
    if excused_softly and verdict.state is State.MET:
        return (1 - EQUIVOCAL, EQUIVOCAL)
    if verdict.state is State.SOFT:
        return (1 - verdict.weight, verdict.weight)
    return verdict.state is State.MET
