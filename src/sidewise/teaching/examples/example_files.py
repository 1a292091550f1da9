"""The example files of the invented island clinic, written from seeded generators.

python -m sidewise.teaching.examples.example_files examples/marks
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from sidewise.teaching.examples.teaching_week import ITEMS, RATINGS, STATIONS, teaching_week
from sidewise.teaching.examples.telling_files import telling_tables

if TYPE_CHECKING:
    import pandas as pd

# A week whose three students near the mark are the three that were planted, chosen by looking.
WEEK = 1
BIRDS = (
    "HERON", "PLOVER", "CURLEW", "DUNLIN", "KNOT", "AVOCET", "TERN", "GODWIT", "WHIMBREL",
    "TURNSTONE", "REDSHANK", "SANDERLING", "OYSTERCATCHER", "EIDER",
)  # fmt: skip
HANDS = ("E01", "E02", "E03", "E04")


def as_written(marks: pd.DataFrame) -> pd.DataFrame:
    """Marks as an examiner's office would keep them: words for ratings, whole numbers as such."""
    out = marks.copy()
    out["global_rating"] = [RATINGS[int(code)] for code in marks["global_rating"]]
    out["critical_error"] = ["yes" if flag else "" for flag in marks["critical_error"]]
    for column in ("mark", "maximum", "weight"):
        out[column] = marks[column].astype(int).astype(str)
    return out


def incomplete_week() -> pd.DataFrame:
    """The teaching week with two blank marks, a student absent at a station, a critical error."""
    marks = as_written(teaching_week(WEEK).marks)
    first = marks["student"].eq("S05") & marks["station"].eq("look")
    marks.loc[first & marks["item"].isin(["i03", "i07"]), "mark"] = ""
    error = marks["student"].eq("S12") & marks["station"].eq("nerves")
    marks.loc[error, "critical_error"] = "yes"
    marks.loc[error, "comment"] = "went on after the patient asked to stop"
    absent = marks["student"].eq("S31") & marks["station"].eq("explain")
    return marks[~absent].reset_index(drop=True)


def broken_weeks() -> dict[str, pd.DataFrame]:
    """Tables that must be refused, each with one kind of mistake."""
    whole = as_written(teaching_week(WEEK).marks)
    small = whole[whole["student"].isin(["S01", "S02"])].reset_index(drop=True)
    twice, above, odd, nobody = (small.copy() for _ in range(4))
    for column, value in (("item", "i02"), ("maximum", "2"), ("mark", "1")):
        twice.loc[12, column] = value
    above.loc[5, "mark"] = "23"
    odd.loc[odd.index[20:30], "global_rating"] = "middling"
    nobody.loc[40, "examiner"] = ""
    dates = small.copy()
    dates.loc[3, "mark"] = "02-Jan"
    return {
        "twice": twice, "above_maximum": above, "unknown_rating": odd,
        "no_examiner": nobody, "dates": dates, "no_marks_column": small.drop(columns="mark"),
    }  # fmt: skip


def example_findings(seed: int = 7) -> pd.DataFrame:
    """Four examiners and a reference on fourteen patients; E03 exchanged the sides of CURLEW-3."""
    import pandas as pd

    rng = np.random.default_rng(seed)
    rows = []
    for number, bird in enumerate(BIRDS, start=1):
        truth = _truth(rng, number)
        for examiner in ("R1", *HANDS):
            rows += _examined(rng, f"{bird}-{number}", truth, examiner)
    frame = pd.DataFrame(
        rows, columns=["patient", "item", "mode", "side", "examiner", "value", "reference"]
    )
    gone = frame.index[(frame["examiner"] == "E04") & (frame["patient"] == "TERN-7")][:2]
    frame.loc[gone, "value"] = "unable"
    return frame


Truth = dict[tuple[str, str], float]


def _truth(rng: np.random.Generator, number: int) -> Truth:
    """One painful side (left for odd numbers), the other nearly always quiet."""
    bad = "left" if number % 2 else "right"
    truth: Truth = {}
    for side in ("left", "right"):
        ill = side == bad
        truth[("tenderness", side)] = float(rng.random() < (0.8 if ill else 0.1))
        truth[("painful_arc", side)] = float(rng.random() < (0.7 if ill else 0.1))
        truth[("rotation_power", side)] = float(rng.choice([3, 4, 5] if ill else [5, 5, 5]))
        truth[("external_rotation", side)] = float(rng.normal(35 if ill else 62, 9))
    return truth


def _examined(
    rng: np.random.Generator, patient: str, truth: Truth, examiner: str
) -> list[list[str]]:
    careless = examiner != "R1"
    mirrored = examiner == "E03" and patient == "CURLEW-3"
    rows = []
    for (item, side), value in truth.items():
        found = _found(rng, item, value, careless)
        written = {"left": "right", "right": "left"}[side] if mirrored else side
        mode = "passive" if item == "external_rotation" else ""
        rows.append([patient, item, mode, written, examiner, found, "" if careless else "yes"])
    return rows


def _found(rng: np.random.Generator, item: str, value: float, careless: bool) -> str:
    if item == "external_rotation":
        error = rng.normal(0, 5) if careless else 0.0
        return str(int(5 * round((value + error) / 5)) if careless else round(value))
    slips = careless and rng.random() < 0.1
    if item == "rotation_power":
        return str(int(np.clip(value + (rng.choice([-1, 1]) if slips else 0), 0, 5)))
    return "present" if bool(value) != slips else "absent"


def example_judges(seed: int = 3) -> pd.DataFrame:
    """Five judges' expectations of a student who just passes, for every item of the week."""
    import pandas as pd

    rng = np.random.default_rng(seed)
    rows = [
        [f"J{j + 1}", station, f"i{k + 1:02d}", f"{np.clip(0.5 + lean + slip, 0.1, 0.95):.2f}"]
        for j, lean in enumerate(rng.normal(0, 0.03, 5))
        for station in STATIONS
        for k, slip in enumerate(rng.normal(0, 0.08, ITEMS))
    ]
    return pd.DataFrame(rows, columns=["judge", "station", "item", "expected"])


RELEVANCE, DIFFICULTY = ("essential", "important", "additional"), ("easy", "medium", "hard")


def example_places(seed: int = 5) -> pd.DataFrame:
    """Four judges' relevance and difficulty of every item of the week, for Ebel's method."""
    import pandas as pd

    rng = np.random.default_rng(seed)
    rows = []
    for station in STATIONS:
        for k in range(ITEMS):
            relevance, difficulty = rng.choice(3, p=[0.5, 0.35, 0.15]), rng.choice(3)
            for judge in range(4):
                # A judge in five places an item one step off.
                slip = rng.choice([-1, 0, 1], 2, p=[0.1, 0.8, 0.1])
                near = np.clip(np.array([relevance, difficulty]) + slip, 0, 2)
                rows.append([f"J{judge + 1}", station, f"i{k + 1:02d}",
                             RELEVANCE[near[0]], DIFFICULTY[near[1]]])  # fmt: skip
    return pd.DataFrame(rows, columns=["judge", "station", "item", "relevance", "difficulty"])


def example_shares() -> pd.DataFrame:
    """What a student who just passes is expected to earn, by relevance and difficulty."""
    import pandas as pd

    shares = ((0.75, 0.6, 0.45), (0.65, 0.5, 0.35), (0.5, 0.35, 0.2))
    rows = [
        [relevance, difficulty, shares[i][j]]
        for i, relevance in enumerate(RELEVANCE)
        for j, difficulty in enumerate(DIFFICULTY)
    ]
    return pd.DataFrame(rows, columns=["relevance", "difficulty", "expected"])


def example_tables() -> dict[str, pd.DataFrame]:
    """Every example by its file name."""
    tables = {
        "teaching_week_marks.csv": as_written(teaching_week(WEEK).marks),
        "teaching_week_unlinked_marks.csv": as_written(teaching_week(WEEK, linked=False).marks),
        "teaching_week_incomplete_marks.csv": incomplete_week(),
        "teaching_week_judges.csv": example_judges(),
        "teaching_week_places.csv": example_places(),
        "teaching_week_shares.csv": example_shares(),
        "teaching_week_findings.csv": example_findings(),
    }
    broken = {f"broken/{k}_marks.csv": t for k, t in broken_weeks().items()}
    return tables | broken | telling_tables()


def write_examples(folder: Path) -> None:
    """Write every example below `folder`."""
    for name, table in example_tables().items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        table.to_csv(folder / name, index=False, lineterminator="\n")


if __name__ == "__main__":
    write_examples(Path(sys.argv[1]))
