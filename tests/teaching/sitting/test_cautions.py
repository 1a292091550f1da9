"""Examiners whose marks or ratings are all alike, said in the order in which they came."""

from __future__ import annotations

import pandas as pd

from sidewise.teaching.sitting.cautions import unvaried_examiners


def test_only_enough_values_that_are_all_alike_are_named() -> None:
    rows = [("E2", "A", 60.0, 2.0)] * 5 + [("E1", "A", 50.0 + k, 3.0) for k in range(5)]
    rows += [("E1", "B", 70.0, None)] * 5 + [("E3", "B", 55.0, 1.0)] * 4
    table = pd.DataFrame(rows, columns=["examiner", "station", "score", "global_rating"])
    assert [line.split(":")[0] for line in unvaried_examiners(table)] == [
        "E2 gave all 5 students at A the same mark (60.0)",
        "E1 gave all 5 students at B the same mark (70.0)",
        "E2 gave all 5 students the same global rating",
        # Ratings that are blank are no other rating.
        "E1 gave all 5 students the same global rating",
    ]
