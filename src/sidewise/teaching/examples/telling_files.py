"""Small tables each of which shows one thing that a report must not get wrong.

Written beside the teaching week by `example_files`, read by the tests.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from sidewise.ground.arrays import Array, IntArray

if TYPE_CHECKING:
    import pandas as pd

RATINGS = ("fail", "borderline", "pass", "good", "excellent")
EDGES = np.array([-12.0, -5.0, 4.0, 13.0])
STATIONS = ("look", "feel", "move", "power", "nerves", "explain")


def _sitting(
    seed: int, students: int, stations: int = 6, circuits: int = 1, lift: float = 0.0
) -> pd.DataFrame:
    """Station totals out of 40 with ratings; examiners stand at a station of a circuit.

    `lift` moves everybody's level, in points of 100.
    """
    rng = np.random.default_rng(seed)
    level = rng.normal(lift, 8, students)[:, None] + rng.normal(0, 9, (students, stations))
    ease = 62 + rng.normal(0, 4, stations)
    mark = np.clip(np.rint(0.4 * (ease + level + rng.normal(0, 5, level.shape))), 0, 40)
    rating = np.digitize(level + rng.normal(0, 5, level.shape), EDGES)
    circuit = np.arange(students) % circuits
    examiner = circuit[:, None] * stations + np.arange(stations)
    return _long(mark, rating, examiner, circuit)


def _long(mark: Array, rating: IntArray, examiner: IntArray, circuit: IntArray) -> pd.DataFrame:
    import pandas as pd

    students, stations = mark.shape
    student = np.repeat(np.arange(students), stations)
    return pd.DataFrame({
        "student": [f"S{i + 1:03d}" for i in student],
        "station": np.tile(STATIONS[:stations], students),
        "circuit": [f"{'AB'[c]}" for c in circuit[student]],
        "examiner": [f"E{e + 1:03d}" for e in examiner.ravel()],
        "mark": mark.ravel().astype(int).astype(str),
        "maximum": "40",
        "global_rating": [RATINGS[int(r)] for r in rating.ravel()],
    })  # fmt: skip


def numbered_from_one() -> pd.DataFrame:
    """Ratings as 1 to 4 because nobody got the highest, 5: read from 0 the mark would sink."""
    table = _sitting(3, 40, lift=-4)
    place = table["global_rating"].map({word: i + 1 for i, word in enumerate(RATINGS)})
    return table.assign(global_rating=place.clip(upper=4).astype(str))


def nobody_borderline() -> pd.DataFrame:
    """Nobody is rated borderline or lower: every pass mark is read off beyond the ratings."""
    table = _sitting(4, 40, lift=12)
    worse = table["global_rating"].isin(["fail", "borderline"])
    return table.assign(global_rating=table["global_rating"].mask(worse, "pass"))


def many_examiners() -> pd.DataFrame:
    """240 linked examiners who spread so widely that none stands out, and much hangs on them."""
    rng = np.random.default_rng(5)
    students, stations = 480, 6
    level = rng.normal(0, 6, students)[:, None] + rng.normal(0, 5, (students, stations))
    examiner = np.array([rng.permutation(240)[:stations] for _ in range(students)])
    severity = rng.normal(0, 7, 240)
    shown = level - severity[examiner]
    mark = np.clip(np.rint(0.4 * (58 + shown + rng.normal(0, 3, shown.shape))), 0, 40)
    rating = np.digitize(shown + rng.normal(0, 4, shown.shape), EDGES)
    return _long(mark, rating, examiner, np.zeros(students, dtype=np.int64))


def one_session_each() -> pd.DataFrame:
    """Every examiner works in one session only: drift over the day cannot be told."""
    table = _sitting(6, 48)
    number = table["student"].str[1:].astype(int)
    session = (number - 1) // 16 + 1
    return table.assign(
        session=session.astype(str), examiner=table["examiner"] + "-" + session.astype(str)
    )


def zeros_for_absent() -> pd.DataFrame:
    """One absent student entered as zeros."""
    table = _sitting(7, 40)
    gone = table["student"].eq("S017")
    return table.assign(
        mark=table["mark"].mask(gone, "0"), global_rating=table["global_rating"].mask(gone, "")
    )


def fail_pass_only() -> pd.DataFrame:
    """Examiners said fail or pass and nothing else."""
    table = _sitting(8, 60)
    failed = table["global_rating"].isin(["fail", "borderline"])
    return table.assign(global_rating=np.where(failed, "fail", "pass"))


def resit() -> pd.DataFrame:
    """Nine students sit again."""
    return _sitting(9, 9, lift=-5)


def even_examiner() -> pd.DataFrame:
    """One examiner gave every student the same mark and the same rating."""
    table = _sitting(10, 40, circuits=2)
    even = table["examiner"].eq("E004")
    return table.assign(
        mark=table["mark"].mask(even, "28"), global_rating=table["global_rating"].mask(even, "pass")
    )


def near_duplicates() -> pd.DataFrame:
    """A station written in two ways, and a student with and without the zeros."""
    table = _sitting(11, 20)
    rows = table.index[table["station"].eq("move")][:5]
    table.loc[rows, "station"] = "Move"
    table.loc[table["student"].eq("S007"), "student"] = "S7"
    return table


def wide_sheet() -> list[list[str]]:
    """A wide sheet as an office keeps it: title, maxima, absences, halves, a row of means."""
    table = _sitting(12, 14, stations=4)
    rows = table.pivot(index="student", columns="station", values="mark")[list(STATIONS[:4])]
    cells = [[str(i + 301), *marks] for i, marks in enumerate(rows.to_numpy().tolist())]
    cells[3][2], cells[5][1], cells[8][4], cells[9][3] = "ABS", "21,5", "-", "18½"
    total = [[*row, ""] for row in cells]
    return [
        ["Practical examination, island clinic", "", "", "", "", ""], [""] * 6,
        ["Candidate", *(s.capitalize() for s in STATIONS[:4]), "Total"],
        ["Max", "40", "40", "40", "40", "160"], *total, ["Mean", "25", "25", "25", "25", ""],
    ]  # fmt: skip


def merged_sheet() -> list[list[str]]:
    """Two heading rows as merged cells leave them, percentages, another language."""
    table = _sitting(13, 12, stations=3)
    head = ["Kandidat"]
    for name in ("Anamnese", "Inspektion", "Kraft"):
        head += [name, "", ""]
    second = ["", *["Punkte", "Globalurteil", "Prüfer"] * 3]
    body = []
    for number, (_, rows) in enumerate(table.groupby("student"), start=1):
        cells = [f"K{number}"]
        for row in rows.itertuples():
            cells += [
                f"{100 * int(str(row.mark)) / 40:.0f}%",
                str(row.global_rating),
                str(row.examiner),
            ]
        body.append(cells)
    return [head, second, *body, ["Mittelwert", *["60%", "", ""] * 3]]


def fraction_sheet() -> list[list[str]]:
    """A long sheet with other headings and marks as fractions."""
    table = _sitting(14, 12, stations=3)
    rows = [
        [
            str(r.student),
            str(r.station),
            str(r.examiner),
            f"{int(str(r.mark)) / 2:g}/20",
            str(r.global_rating),
        ]
        for r in table.itertuples()
    ]
    return [["Trainee", "Case", "Assessor", "Score", "Rating"], *rows]


def loose_findings() -> pd.DataFrame:
    """Findings as typed in a hurry: degrees with and without sign, short words, 4/5."""
    import pandas as pd

    rng = np.random.default_rng(15)
    rows = []
    for n in range(1, 21):
        patient, bird = rng.integers(30, 80), f"KNOT-{n}"
        for k, examiner in enumerate(("E1", "E2")):
            angle = 5 * round((patient + rng.normal(0, 5)) / 5)
            rows.append([bird, "flexion", examiner, f"{angle}°" if k else f"{angle}"])
            sign = bool(n % 2) != bool(rng.random() < 0.1)
            rows.append([bird, "arc", examiner, ("pos" if sign else "neg") if k else
                         "positive" if sign else "negative"])  # fmt: skip
            rows.append([bird, "power", examiner, f"{3 + (n % 3)}/5" if k else f"{3 + (n % 3)}"])
    return pd.DataFrame(rows, columns=["patient", "item", "examiner", "value"])


def perfect_findings() -> pd.DataFrame:
    """Two examiners who found the same sign in everybody."""
    import pandas as pd

    rows = [[f"TERN-{n}", "tenderness", e, "present"] for n in range(1, 13) for e in ("E1", "E2")]
    return pd.DataFrame(rows, columns=["patient", "item", "examiner", "value"])


def telling_tables() -> dict[str, pd.DataFrame]:
    """Every table by its file name."""
    return {
        "telling/numbered_from_one_marks.csv": numbered_from_one(),
        "telling/nobody_borderline_marks.csv": nobody_borderline(),
        "telling/many_examiners_marks.csv": many_examiners(),
        "telling/one_session_each_marks.csv": one_session_each(),
        "telling/zeros_for_absent_marks.csv": zeros_for_absent(),
        "telling/fail_pass_only_marks.csv": fail_pass_only(),
        "telling/resit_marks.csv": resit(),
        "telling/even_examiner_marks.csv": even_examiner(),
        "telling/near_duplicates_marks.csv": near_duplicates(),
        "telling/wide_sheet.csv": _as_table(wide_sheet()),
        "telling/merged_sheet.csv": _as_table(merged_sheet()),
        "telling/fraction_sheet.csv": _as_table(fraction_sheet()),
        "telling/loose_findings.csv": loose_findings(),
        "telling/perfect_findings.csv": perfect_findings(),
    }


def _as_table(rows: list[list[str]]) -> pd.DataFrame:
    """A sheet whose first row is its headings, whatever it holds."""
    import pandas as pd

    width = max(map(len, rows))
    even = [row + [""] * (width - len(row)) for row in rows]
    return pd.DataFrame(even[1:], columns=pd.Index(even[0]))
