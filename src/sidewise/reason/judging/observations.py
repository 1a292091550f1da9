"""Which readings speak on a record, how firmly, and which were seen but weigh nothing."""

from __future__ import annotations

from dataclasses import dataclass

from sidewise.network import Observation
from sidewise.reason.judging.flags import Meaningless
from sidewise.reason.judging.grading import AS_USUAL, Graded, Grading, Louder, graded_verdict
from sidewise.reason.judging.judge import EQUIVOCAL, Judge, State, Verdict
from sidewise.reason.judging.variants import Variants
from sidewise.reason.weighing.layout import Layout, Seat


@dataclass(frozen=True, slots=True)
class Spoken:
    """A reading that counts: its seat, the verdict, and what it hands to the network.

    louder: how far it is beyond its threshold; what that multiplies in the network.
    """

    seat: Seat
    verdict: Verdict
    observation: Observation
    louder: Louder = AS_USUAL


@dataclass(frozen=True, slots=True)
class Silent:
    """A reading that was seen and weighs nothing, and why; whether a raised flag withholds it."""

    seat: Seat
    because: str
    withheld: bool = False


@dataclass(frozen=True, slots=True)
class Unstated:
    """A positive result of which it was not said in which way; asked once for each look."""

    item: str
    side: str


@dataclass(frozen=True, slots=True)
class Observed:
    """Everything the record says to the network, and what it left unsaid of a positive result."""

    spoken: tuple[Spoken, ...]
    silent: tuple[Silent, ...]
    unstated: tuple[Unstated, ...] = ()

    @property
    def findings(self) -> dict[str, Observation]:
        """By the network's name of each reading."""
        return {entry.seat.name: entry.observation for entry in self.spoken}

    @property
    def louder(self) -> dict[str, Louder]:
        """Readings beyond their threshold, by the network's name, and what that multiplies."""
        return {e.seat.name: e.louder for e in self.spoken if e.louder.speaks_up}


def observe(
    judge: Judge,
    layout: Layout,
    variants: Variants,
    void: Meaningless,
    grading: Grading | None = None,
) -> Observed:
    """Judge every reading of the network on the record; `void` says what a raised flag withholds.

    Of several readings of one look only the first that can be judged is a witness: the order is
    fixed in the knowledge, so that it cannot be chosen after looking. One that can only be guessed
    at, because it was not said in which way a test was positive, comes after those that can.
    """
    graded = {
        (seat.reading.id, seat.side): graded_verdict(judge, seat.reading, seat.side, grading)
        for seat in layout.seats
    }
    spoken: list[Spoken] = []
    silent: list[Silent] = []
    for seat in layout.seats:
        mine = graded[seat.reading.id, seat.side]
        verdict = mine.verdict
        if verdict.known and (flag := void.why(seat.reading, seat.side)):
            silent.append(Silent(seat, f"withheld: {flag}", withheld=True))
        elif reason := _silenced(seat, graded, layout, variants):
            silent.append(Silent(seat, reason))
        elif verdict.known:
            soft = variants.weights.get((seat.reading.item, seat.side)) == "soft"
            spoken.append(Spoken(seat, verdict, _observation(verdict, soft), mine.louder))
    return Observed(tuple(spoken), tuple(silent), _unstated(layout, graded))


GradedReadings = dict[tuple[str, str], Graded]


def _unstated(layout: Layout, graded: GradedReadings) -> tuple[Unstated, ...]:
    looks = (
        Unstated(seat.reading.item, seat.side)
        for seat in layout.seats
        if graded[seat.reading.id, seat.side].unstated
    )
    return tuple(dict.fromkeys(looks))


def _silenced(seat: Seat, graded: GradedReadings, layout: Layout, variants: Variants) -> str | None:
    """Why a reading that was seen weighs nothing, or None."""
    mine = graded[seat.reading.id, seat.side]
    if mine.verdict.state is State.NOT_INTERPRETABLE:
        return mine.verdict.because
    if not mine.verdict.known:
        return None
    group = layout.families.witness_group.get(seat.reading.id, (seat.reading.id,))
    look = [
        (name, other)
        for name in group
        if (other := graded.get((name, seat.side))) is not None and other.verdict.known
    ]
    witness = next((name for name, other in look if not other.unstated), look[0][0])
    if witness != seat.reading.id:
        return "another reading of the same look already speaks"
    excuse = variants.weights.get((seat.reading.item, seat.side))
    if excuse == "nothing" and mine.verdict.state is not State.NOT_MET:
        return "a normal variant here"
    return None


def _observation(verdict: Verdict, excused_softly: bool) -> Observation:
    if excused_softly and verdict.state is State.MET:
        return (1 - EQUIVOCAL, EQUIVOCAL)
    if verdict.state is State.SOFT:
        return (1 - verdict.weight, verdict.weight)
    return verdict.state is State.MET
