"""The law of doubt, held against every rule: no doubt turns a raised flag into silence.

Law: replacing anything that raises a flag, or any two such things, by an answer or finding that is
unsure, impossible, withheld, disputed, limited or not stated leaves the flag raised or not
excluded; where something is recorded that may still mean it, it is called for. Everything is swept
that the rules can be made to hold by, and what was swept is counted.
"""

from __future__ import annotations

from itertools import combinations, product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sidewise.reason.judging.flags import FlagBook, FlagRule, red_flags
from sidewise.reason.judging.judge import Judge
from sidewise.reason.judging.rules import leaves
from sidewise.record import Record
from tests.flags.evidence import PROTOCOL, Doubt, Piece, doubts, pieces, record_of, ways
from tests.flags.judged import BOOK

Evidence = dict[tuple[str, ...], Piece]
RANK = {None: 0, "open": 1, "called for": 2, "raised": 3}
each = pytest.mark.parametrize("rule", BOOK.flags, ids=[rule.id for rule in BOOK.flags])


def book_of(rule: FlagRule) -> FlagBook:
    return BOOK.model_copy(update={"flags": (rule,)})


def stands(record: Record, book: FlagBook) -> str | None:
    found = red_flags(Judge(PROTOCOL, record), book)
    if not found:
        return None
    if found[0].status == "raised":
        return "raised"
    return "called for" if found[0].called_for else "open"


def evidence(rule: FlagRule) -> list[Evidence]:
    """Least evidence for each branch, without those whose pieces stand in each other's way."""
    found: list[Evidence] = []
    for way in ways(rule.when):
        made: Evidence = {}
        fits = True
        for leaf, wanted in way:
            for piece in pieces(leaf, wanted):
                fits &= made.setdefault(piece.place, piece).value == piece.value
        if fits and made not in found:
            found.append(made)
    return found


def of_pieces(made: Evidence, *changed: Doubt, asked: str = "none") -> Record:
    values = {place: piece.value for place, piece in made.items()}
    values |= {doubt.piece.place: doubt.piece.value for doubt in changed}
    return record_of(values, asked)


EVIDENCE = {rule.id: evidence(rule) for rule in BOOK.flags}


@each
def test_every_branch_of_the_rule_raises_it(rule: FlagRule) -> None:
    book, made = book_of(rule), EVIDENCE[rule.id]
    raised = [one for one in made if stands(of_pieces(one), book) == "raised"]
    # Two criteria of one measure may want different numbers of it; most branches have no such pair.
    assert len(raised) >= max(1, 0.8 * len(made))
    told = {place[1] for one in raised for place in one if len(place) > 1}
    used = {place[1] for one in made for place in one if len(place) > 1}
    assert used - told == set()


def test_the_sweep_is_as_wide_as_the_rules() -> None:
    made = [one for some in EVIDENCE.values() for one in some]
    assert len(EVIDENCE) == len(BOOK.flags) >= 56
    assert len(made) >= 750
    assert sum(len(list(doubts(piece))) for one in made for piece in one.values()) >= 7000


@pytest.mark.parametrize("asked", ["none", "all"])
@each
def test_one_doubt_never_silences_it(rule: FlagRule, asked: str) -> None:
    book, swept, broken = book_of(rule), 0, []
    for made in EVIDENCE[rule.id]:
        if stands(of_pieces(made, asked=asked), book) != "raised":
            continue
        for piece in made.values():
            for doubt in doubts(piece):
                now = stands(of_pieces(made, doubt, asked=asked), book)
                least = "open" if not doubt.voiced else "called for"
                least = "raised" if doubt.name == "disputed" else least
                swept += 1
                if RANK[now] < RANK[least]:
                    broken.append((doubt.name, piece.place, now, [*made]))
    assert broken == []
    assert swept > 0 or asked == "all"


@each
def test_two_doubts_never_silence_it(rule: FlagRule) -> None:
    book, swept, broken = book_of(rule), 0, []
    for made in EVIDENCE[rule.id]:
        if stands(of_pieces(made), book) != "raised":
            continue
        for one, two in combinations(made.values(), 2):
            for pair in product(doubts(one), doubts(two)):
                now = stands(of_pieces(made, *pair), book)
                least = "called for" if all(doubt.voiced for doubt in pair) else "open"
                swept += 1
                if RANK[now] < RANK[least]:
                    broken.append(([(d.name, d.piece.place) for d in pair], now))
    assert broken == []
    assert swept > 0 or all(len(made) < 2 for made in EVIDENCE[rule.id])


def mirrored(found: Evidence) -> dict[tuple[str, ...], object]:
    swap = {"left": "right", "right": "left"}
    return {
        tuple(swap.get(word, word) for word in place): tuple(swap.get(s, s) for s in piece.value)
        if place == ("complaint",)
        else piece.value
        for place, piece in found.items()
    }


@each
def test_sides_swapped_mirror_it(rule: FlagRule) -> None:
    book = book_of(rule)
    for made in EVIDENCE[rule.id]:
        here = of_pieces(made)
        there = record_of({("complaint",): ("right",), **mirrored(made)})
        first, second = (red_flags(Judge(PROTOCOL, one), book) for one in (here, there))
        assert [flag.status for flag in first] == [flag.status for flag in second]
        words = [[w.replace("right ", "left ") for w in f.because] for f in (*first, *second)]
        assert words[: len(first)] == words[len(first) :]


@st.composite
def more_evidence(draw: st.DrawFn) -> tuple[FlagRule, Evidence, Evidence]:
    """A flag with part of the evidence of one branch, and the same with some of another's."""
    rule = draw(st.sampled_from(BOOK.flags))
    some = draw(st.sampled_from(EVIDENCE[rule.id]))
    kept = draw(st.sets(st.sampled_from(sorted(some))))
    less = {place: some[place] for place in kept}
    other = draw(st.sampled_from(EVIDENCE[rule.id]))
    return rule, less, {**other, **less}


def names_of_exceptions(rule: FlagRule) -> set[str]:
    """Words that an exception of the rule turns on: more of these may well lower the flag."""
    from sidewise.reason.judging.rules import AllOf, AnyOf, AtLeast, Not, Rule, Unless

    def walk(part: Rule) -> list[Rule]:
        match part:
            case Unless(then=then, unless=exception):
                return [exception, *walk(then)]
            case Not(negated=inner):
                return [inner]
            case AllOf(all_of=parts) | AnyOf(any_of=parts) | AtLeast(of=parts):
                return [one for inner in parts for one in walk(inner)]
        return []

    found = [leaf for one in walk(rule.when) for leaf in leaves(one)]
    words = {getattr(leaf, "ask", None) or getattr(leaf, "item", None) for leaf in found}
    fields = {
        field.removesuffix("_below").removesuffix("_over").removesuffix("_at_least")
        for leaf in found
        if hasattr(leaf, "context")
        for field in leaf.context.model_dump(exclude_none=True)
    }
    return {word for word in words if word} | fields


@settings(max_examples=400, deadline=None, derandomize=True)
@given(more_evidence())
def test_more_evidence_for_it_never_lowers_it(
    drawn: tuple[FlagRule, Evidence, Evidence],
) -> None:
    rule, less, more = drawn
    excusing = names_of_exceptions(rule)
    added = {p: piece for p, piece in more.items() if p in less or excusing.isdisjoint(p)}
    book = book_of(rule)
    assert RANK[stands(of_pieces(less), book)] <= RANK[stands(of_pieces(added), book)]
