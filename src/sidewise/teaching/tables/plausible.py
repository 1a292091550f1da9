"""What is asked and never guessed: codes that look like one, students with nothing but zeros."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Literal

from sidewise.errors import UserError, UserErrors
from sidewise.teaching.tables.questions import SheetQuestion

if TYPE_CHECKING:
    import pandas as pd

CODES = ("student", "station", "examiner", "item", "circuit", "session")
Zeros = Literal["ask", "absent", "real"]
Alike = Literal["ask", "join", "apart"]


def settle_codes(table: pd.DataFrame, name: str, alike: Alike) -> tuple[pd.DataFrame, list[str]]:
    """Codes that differ in letters' case, spaces or leading zeros only: asked, joined or kept.

    Joined codes take the spelling that is most frequent. Returns the table and what was done.
    """
    questions: list[UserError] = []
    notes: list[str] = []
    for column in CODES:
        for group in _alike(table[column]):
            if alike == "join":
                table = table.assign(**{column: table[column].replace(group[1:], group[0])})
                notes.append(f"{column} {', '.join(group[1:])} read as {group[0]}.")
            elif alike == "ask":
                questions.append(
                    SheetQuestion(
                        f"{name}: {column}",
                        " and ".join(group[:4]),
                        "one spelling for each code",
                        "Correct the file, or say --codes join if they are the same, --codes apart "
                        "if they are not.",
                        "codes",
                        ("join", "apart"),
                    )
                )
    if questions:
        raise UserErrors(questions)
    return table, notes


def _alike(codes: pd.Series[str]) -> list[list[str]]:
    """Groups of two or more spellings that may be one code, the most frequent first."""
    count = codes.value_counts()
    groups: dict[tuple[str, ...], list[str]] = {}
    for code in count.index:
        groups.setdefault(_key(code), []).append(code)
    return [group for group in groups.values() if len(group) > 1]


def _key(code: str) -> tuple[str, ...]:
    """Words and numbers of a code: "St-01" is "st1", but 25-0 and 250 stay apart."""
    parts = re.findall(r"\d+|[^\W\d_]+", code.casefold())
    return tuple(part.lstrip("0") or "0" if part.isdigit() else part for part in parts)


def settle_zeros(table: pd.DataFrame, name: str, zeros: Zeros) -> tuple[pd.DataFrame, list[str]]:
    """Students with a 0 in every mark of two stations or more: absent, or really nothing?

    One absent student entered as zeros raises the reliability of a class. Returns the table and
    what was done.
    """
    if zeros == "real":
        return table, []
    by = table.groupby(["sitting", "student"], sort=False)
    nothing = (by["mark"].max() == 0) & (by["station"].nunique() >= 2)
    who = [student for _, student in nothing.index[nothing]]
    if not who or nothing.all():
        return table, []
    shown = ", ".join(who[:8])
    if zeros == "ask":
        raise SheetQuestion(
            f"{name}: student {shown}", "a mark of 0 at every station",
            "to know whether nobody was there or nothing was earned",
            "Empty the cells or say --zeros absent if the student was absent; --zeros real if not.",
            "zeros", ("absent", "real"),
        )  # fmt: skip
    gone = table["student"].isin(who)
    table = table.assign(mark=table["mark"].mask(gone))
    return table, [f"Only zeros, read as absent: {shown}."]


def zeros_answer(text: str) -> Zeros:
    """What students with nothing but zeros are."""
    match text:
        case "ask" | "absent" | "real":
            return text
        case _:
            raise UserError("zeros", text, "ask, absent or real", "")


def codes_answer(text: str) -> Alike:
    """What is done with codes that look alike."""
    match text:
        case "ask" | "join" | "apart":
            return text
        case _:
            raise UserError("codes", text, "ask, join or apart", "")
