"""Choices made column by column, as one text that `--columns` takes: one language for both."""

from __future__ import annotations

from dataclasses import dataclass

from sidewise.errors import UserError
from sidewise.teaching.tables.heading_words import WORDS
from sidewise.teaching.tables.sheet_columns import EACH, NONE

OF_A_MARK = ("mark", "station", "global_rating", "item", "weight", "critical_error")
"""What a column of a long sheet can be and none of a wide one."""
FOR_ALL = ("student", "circuit", "session", "sitting", "group", "domain", "time")
"""What a column can be in either."""
SIGNS = ";|="


@dataclass(frozen=True, slots=True)
class ChosenStation:
    """One station of a wide sheet: headings of marks, rating and examiner ("" none), maximum."""

    heading: str
    maximum: str = ""
    rating: str = ""
    examiner: str = ""


@dataclass(frozen=True, slots=True)
class ChosenColumns:
    """What each meaning's column is, by its heading ("" there is none).

    `stations` are those of a wide sheet (empty: a row a mark); `maximum` a number, a heading, or
    "each"; `left` rows that are no students, as 4,19.
    """

    roles: dict[str, str]
    stations: tuple[ChosenStation, ...] = ()
    maximum: str = ""
    examiner: str = ""
    left: str = ""

    def words(self) -> str:
        """The text for `--columns`. UserError for a heading that its signs cannot carry."""
        meanings = FOR_ALL if self.stations else (*FOR_ALL, *OF_A_MARK)
        parts = [f"{role}={self._said(self.roles.get(role, ''))}" for role in meanings
                 if role in WORDS and (role in self.roles or role == "student")]  # fmt: skip
        if self.stations:
            parts += self._of_stations()
        parts += [
            f"maximum={self._maximum()}", f"examiner={self._examiner()}",
            f"leave={self.left.replace(' ', '') or NONE}",
        ]  # fmt: skip
        return "; ".join(parts)

    def _of_stations(self) -> list[str]:
        parts = [f"stations={'|'.join(self._said(s.heading) for s in self.stations)}"]
        if any(s.rating for s in self.stations):
            parts.append(f"ratings={'|'.join(self._said(s.rating) for s in self.stations)}")
        return parts

    def _maximum(self) -> str:
        if self.maximum:
            return EACH if self.maximum == EACH else self._said(self.maximum)
        missing = [s.heading for s in self.stations if not s.maximum.strip()]
        if missing or not self.stations:
            raise UserError(
                "maximum", None, f"the highest mark at {', '.join(missing) or 'the stations'}",
                "Say one for all, or one for each station.",
            )  # fmt: skip
        return "|".join(s.maximum.strip() for s in self.stations)

    def _examiner(self) -> str:
        if self.examiner or not any(s.examiner for s in self.stations):
            return self._said(self.examiner)
        return "|".join(self._said(s.examiner) for s in self.stations)

    def _said(self, heading: str) -> str:
        if any(sign in heading for sign in SIGNS):
            raise UserError(
                "columns", heading, f"headings without {' '.join(SIGNS)}",
                "Change the heading in the sheet and send it again.",
            )  # fmt: skip
        return heading or NONE
