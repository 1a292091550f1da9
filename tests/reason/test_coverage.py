"""Intervals cover what somebody who knew the world would say, and findings improve the scores.

An identity: a right 95% interval holds the truth in 95 of 100 worlds drawn as the reasoner assumes.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.reason.coverage import invented, scores


@pytest.mark.long
def test_intervals_cover_and_findings_improve_the_scores() -> None:
    found = [invented(number) for number in range(150)]
    told = scores(found)
    # Records are independent, conditions of one record are not: the error is that between records.
    error = np.std([one.covered.mean() for one in found]) / np.sqrt(len(found))
    assert abs(told["coverage"] - 0.95) < 3 * max(error, 0.005)
    assert told["posterior log"] < told["prior log"]
    assert told["posterior brier"] < told["prior brier"]
