"""Published figures and presentations held out: what the page says of them is so.

Sources stand beside each figure and presentation in `tests/data/held_out/`.
"""

from __future__ import annotations

import re
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest

from sidewise.evidence.studies.combinations import combinations_of
from tests.builders import angle, found, negative, record
from tests.evidence.joint_figures import Predicted, joints, predict
from tests.reason.vignettes import AMONG, FIRST, SECOND, Placed, place, vignettes
from tests.shoulder import SHOULDER

PAGE = (Path(__file__).parents[2] / "docs" / "held-out.md").read_text(encoding="utf-8")


@lru_cache
def places(file: Path) -> tuple[Placed, ...]:
    return tuple(place(vignette) for vignette in vignettes(file))


@lru_cache
def ratios() -> tuple[Predicted, ...]:
    return tuple(predict(joint) for joint in joints() if joint.met)


def test_what_is_held_out_was_chosen_by_its_seed() -> None:
    for file, counts in ((FIRST, (33, 16)), (SECOND, (31, 15))):
        mine = vignettes(file)
        assert (len(mine), sum(v.held_out for v in mine)) == counts
    assert {j.study for j in joints() if j.held_out} == {
        "Farber 2006", "Levy 2009", "Wainner 2003", "Walsworth 2008", "Kim 2005", "Schlechter 2009",
    }  # fmt: skip


def test_nothing_held_out_is_fitted() -> None:
    out = {j.study.split()[0] for j in joints() if j.held_out}
    fitted = {row.series for row in combinations_of(SHOULDER) if row.use == "fit"}
    assert fitted
    assert not [series for series in fitted if any(name in series for name in out)]


@pytest.mark.parametrize("held_out", [False, True])
def test_joint_figures_lie_in_their_intervals_as_the_page_says(held_out: bool) -> None:
    mine = [p for p in ratios() if p.joint.held_out is held_out]
    inside, sampled = sum(p.inside for p in mine), sum(p.inside_sampled for p in mine)
    error = f"{np.mean([abs(p.error) for p in mine]):.2f}".lstrip("0")
    words = f"{inside} of {len(mine)}; {sampled} with the sampling error; {error}"
    row = next(line for line in PAGE.splitlines() if line.startswith("| rule met, now"))
    assert words in row


@pytest.mark.parametrize(
    ("file", "name"),
    [(FIRST, "diagnosis among the first three, now"), (SECOND, "the second collection, now")],
)
def test_accepted_diagnoses_stand_where_the_page_says(file: Path, name: str) -> None:
    row = next(line for line in PAGE.splitlines() if line.startswith(f"| {name}"))
    told = []
    for held_out in (False, True):
        mine = [p for p in places(file) if p.vignette.held_out is held_out]
        told.append(f"{sum(p.rank is not None and p.rank <= AMONG for p in mine)} of {len(mine)}")
    assert re.split(r"\s*\|\s*", row)[2:4] == told


def test_everything_negative_raises_no_rival_by_more_than_two_points() -> None:
    tests = ("neer", "hawkins_kennedy", "cross_body", "active_compression", "empty_can", "full_can",
             "drop_arm", "speed", "yergason", "apprehension", "lift_off", "belly_press",
             "external_rotation_lag", "spurling", "crank", "jerk", "kim", "paxinos")  # fmt: skip
    from sidewise.reason import interpret

    findings = [
        *(negative(name, "left") for name in tests),
        found("acj_tenderness", "left", "tenderness", grade=0),
        found("groove_tenderness", "left", "tenderness", grade=0),
        found("painful_arc", "left", "arc", painless=True),
        found("external_rotation_power", "left", "mrc", grade="5"),
        *(angle(name, "left", 170) for name in ("flexion", "abduction")),
        angle("external_rotation_at_side", "left", 75),
    ]
    for setting in ("primary", "msk_clinic", "orthopaedic"):
        told = interpret(record(*findings, setting=setting), SHOULDER)
        rises = {c.condition: c.estimate - c.prior for c in told.sides["left"].conditions}
        assert len(rises) == 17
        assert max(rises.values()) < 0.02, rises
