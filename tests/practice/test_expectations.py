"""What was written down before the first patient was drawn, against patients drawn since."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
import yaml
from scipy.stats import binom

from sidewise.practice import CaseWishes, practice_case
from tests.practice.patients import shows
from tests.shoulder import SHOULDER

EXPECTED: dict[str, Any] = yaml.safe_load(
    (Path(__file__).parent / "expectations.yaml").read_text(encoding="utf-8")
)
ASKED = {"cuff_full": ("cuff:full-thickness tear",), "nothing": ()}
COUNT = 40
RISK = 0.001
"""That a share that is as expected fails by chance; 25 expectations are held."""


@pytest.mark.slow
@pytest.mark.parametrize("name", [*EXPECTED["conditions"], "nothing"])
def test_patients_are_as_a_clinician_expects_or_the_page_says_why_not(name: str) -> None:
    wishes = CaseWishes(present=ASKED.get(name, (name,)), absent=("others",))
    made = [practice_case(SHOULDER, 50_000 + seed, wishes) for seed in range(COUNT)]
    for line in EXPECTED["conditions"].get(name) or EXPECTED["nothing"]:
        if line["what"] == "manoeuvres positive":
            assert sum(shows(case, line["what"]) for case in made) / COUNT <= line["at_most"]
            continue
        found = sum(bool(shows(case, line["what"])) for case in made)
        if "at_least" in line:
            assert binom.cdf(found, COUNT, line["at_least"]) > RISK, line
        else:
            assert binom.sf(found - 1, COUNT, line["at_most"]) > RISK, line
