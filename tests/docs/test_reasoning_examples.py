"""The page on reasoning: its examples run, and its prose says what they print."""

from __future__ import annotations

import doctest
import re
from pathlib import Path

import pytest

PAGE = Path(__file__).parents[2] / "docs" / "reasoning.md"
TEXT = PAGE.read_text(encoding="utf-8")
CLINICIAN, ENGINEER = TEXT.split("## For the engineer")


def examples() -> doctest.DocTest:
    return doctest.DocTestParser().get_doctest(TEXT, {}, PAGE.name, str(PAGE), 0)


def printed() -> list[float]:
    """Every number that the examples are said to print."""
    wanted = " ".join(example.want for example in examples().examples)
    return [float(number) for number in re.findall(r"\d+\.\d+|\d+\.", wanted)]


def test_every_example_prints_what_the_page_says() -> None:
    found: list[str] = []
    result = doctest.DocTestRunner(verbose=False).run(examples(), out=found.append)
    assert result.failed == 0, "".join(found)
    assert result.attempted >= 23


def test_percentages_of_the_worked_example_are_those_printed() -> None:
    start = CLINICIAN.index("**Two positives")
    end = CLINICIAN.index("**What it will not do.**")
    told = [int(n) for n in re.findall(r"(\d+)%", CLINICIAN[start:end])]
    known = {round(100 * number) for number in printed() if number <= 1}
    assert len(told) >= 10
    # The pre-test figure is put in, not printed by the first example.
    assert set(told) - {35} <= known


def test_independent_findings_multiply_as_bayes_has_it() -> None:
    # Odds times likelihood ratios; pooled pairs as on the page (Hegedus et al. 2012, from memory).
    pairs = ((0.72, 0.60), (0.80, 0.56))
    odds = 0.35 / 0.65
    for sens, spec in pairs:
        odds *= sens / (1 - spec)
    assert round(odds / (1 + odds), 2) in printed()
    negative = 0.35 / 0.65
    for sens, spec in pairs:
        negative *= (1 - sens) / spec
    assert round(negative / (1 + negative), 2) in printed()


def test_a_competing_cause_takes_credit_as_enumeration_has_it() -> None:
    def likelihood(cuff: int, joint: int) -> tuple[float, float]:
        spared = 0.8 * (0.4 if cuff else 1) * (0.4 if joint else 1)
        return 1 - spared, 1 - 0.9 * (0.2 if joint else 1)

    def cuff_after(tender: bool) -> float:
        weight = {0: 0.0, 1: 0.0}
        for cuff, share in ((0, 0.65), (1, 0.35)):
            for joint, other in ((0, 0.85), (1, 0.15)):
                squeeze, sore = likelihood(cuff, joint)
                weight[cuff] += share * other * squeeze * (sore if tender else 1)
        return weight[1] / (weight[0] + weight[1])

    told = f"[{cuff_after(False):.2f}] [{cuff_after(True):.2f}]"
    assert told in TEXT


def test_the_complaint_turns_the_solved_priors_into_the_published_ones() -> None:
    printed_before = re.search(r"before the complaint \[(0.\d+) +(0.\d+)\]", TEXT)
    assert printed_before is not None
    before = [float(printed_before[1]), float(printed_before[2])]
    weight = {}
    for cuff in (0, 1):
        for joint in (0, 1):
            share = abs(1 - cuff - before[0]) * abs(1 - joint - before[1])
            weight[cuff, joint] = share * (1 - 0.8 * 0.5**cuff * 0.5**joint)
    total = sum(weight.values())
    # Priors are printed to .005; the complaint at most doubles or so what they are.
    assert (weight[1, 0] + weight[1, 1]) / total == pytest.approx(0.35, abs=0.01)
    assert (weight[0, 1] + weight[1, 1]) / total == pytest.approx(0.15, abs=0.01)


def test_pages_named_on_the_page_are_there() -> None:
    links = re.findall(r"\]\((decisions/[\w-]+\.md)\)", TEXT)
    assert len(links) >= 3
    assert all((PAGE.parent / link).is_file() for link in links)
