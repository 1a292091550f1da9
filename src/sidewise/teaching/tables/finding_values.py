"""An item's findings as typed, brought to its own words or numbers; what does not fit is refused.

Each item shows by most of its values whether it is counted in numbers (with a unit, a fraction of a
grade) or named by words. "150°" is a number, "pos" and "positive" are one word, "4/5" is grade 4 on
a scale to 5; a word among numbers, two units or two scales are mistakes, named by row.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

from sidewise.teaching.tables.row_checks import Faults

if TYPE_CHECKING:
    import pandas as pd

Kind = Literal["sign", "grade", "measurement"]

PRESENT = ("present", "positive", "yes", "abnormal", "1", "true")
ABSENT = ("absent", "negative", "no", "normal", "0", "false")
# Words that may be one finding. Normal is left out: a pulse may be normal, weak or absent.
ONE_FINDING = (("present", "positive", "yes", "true"), ("absent", "negative", "no", "false"))
# Spellings of the first words above (common practice, no source).
SAME_WORD = {
    "pos": "positive", "pos.": "positive", "+": "positive", "+ve": "positive", "ve+": "positive",
    "neg": "negative", "neg.": "negative", "-": "negative", "-ve": "negative", "ve-": "negative",
    "y": "yes", "n": "no", "t": "true", "f": "false", "abn": "abnormal", "abn.": "abnormal",
    "nl": "normal", "norm": "normal", "norm.": "normal", "pres": "present", "pres.": "present",
    "abs": "absent", "abs.": "absent",
}  # fmt: skip
UNITS = {
    "°": "degrees", "deg": "degrees", "degs": "degrees", "degree": "degrees", "degrees": "degrees",
    "º": "degrees", "cm": "cm", "mm": "mm", "kg": "kg", "n": "N", "nm": "Nm", "s": "s", "sec": "s",
    "%": "percent",
}  # fmt: skip
# More different words than this and an item is free text, not a sign.
MOST_WORDS = 8
# More different whole numbers than this and an item is measured, not graded.
MOST_GRADES = 8

_GRADE = re.compile(r"(\d)([+-])")
_NUMBER = r"[+-]?\d+(?:[.,]\d+)?"
_WITH_UNIT = re.compile(rf"({_NUMBER})\s*(\D*)")
_OUT_OF = re.compile(rf"(\d[+-]?|{_NUMBER})\s*/\s*(\d+)")


@dataclass(frozen=True, slots=True)
class Typed:
    """One value as typed: its number (NaN: none), its unit, and the scale of "4/5" (0: none)."""

    number: float
    unit: str = ""
    scale: int = 0


def typed_value(text: str) -> Typed:
    """Number, unit and scale of a value; NaN when it is a word."""
    bare = text.strip()
    out_of = _OUT_OF.fullmatch(bare)
    if out_of:
        return Typed(as_number(out_of[1]), scale=int(out_of[2]))
    number = as_number(bare)
    if number == number:
        return Typed(number)
    unit = _WITH_UNIT.fullmatch(bare)
    if unit and unit[2].strip().casefold() in UNITS:
        return Typed(as_number(unit[1]), UNITS[unit[2].strip().casefold()])
    return Typed(float("nan"))


def as_number(text: str) -> float:
    """A number with point or comma; a grade such as 4- or 4+ a third below or above. NaN: none."""
    grade = _GRADE.fullmatch(text.strip())
    if grade:
        return float(grade.group(1)) + (1 / 3 if grade.group(2) == "+" else -1 / 3)
    if re.fullmatch(_NUMBER, text.strip()):
        return float(text.strip().replace(",", "."))
    return float("nan")


@dataclass(frozen=True)
class ItemValues:
    """An item's kind, its values as numbers (places of `words` for a sign), and what was done."""

    kind: Kind
    words: tuple[str, ...]
    number: pd.Series[float]
    notes: tuple[str, ...] = field(default=())


def item_values(label: str, values: pd.Series[str], said: str, faults: Faults) -> ItemValues:
    """The findings of one item that were seen. `said` is the kind that the table names ("": none).

    Mistakes go to `faults`; the numbers of such rows are NaN.
    """
    typed = {text: typed_value(text) for text in values.unique()}
    if said == "sign" or (not said and not _mostly_numbers(values, typed)):
        return _signs(label, values, said, faults)
    number = values.map({text: t.number for text, t in typed.items()}).astype(float)
    strange = values[number.isna()]
    what = f"as {label} is a {said}" if said else f"as most findings of {label} are"
    faults.cells(strange, f"a number, {what}", "Write all alike.")
    _one_unit(label, values, typed, faults)
    kind = _kind(said, [t for t in typed.values() if t.number == t.number])
    if kind == "sign":
        return ItemValues("sign", ("0", "1"), number)
    return ItemValues(kind, (), number, _notes(label, typed))


def _mostly_numbers(values: pd.Series[str], typed: dict[str, Typed]) -> bool:
    number = values.map({text: t.number == t.number for text, t in typed.items()})
    return bool(number.mean() > 0.5)


def _one_unit(label: str, values: pd.Series[str], typed: dict[str, Typed], faults: Faults) -> None:
    """Two units, or grades out of two different numbers, in one item are refused."""
    units = {t: v.unit for t, v in typed.items() if v.unit}
    tops = {t: str(v.scale) for t, v in typed.items() if v.scale}
    for what, of in (("unit", units), ("scale", tops)):
        kinds = values[values.isin(list(of))].map(of)
        if kinds.nunique() > 1:
            usual = str(kinds.mode().iloc[0])
            wrong = values[kinds.index[kinds != usual]]
            faults.cells(wrong, f"the {what} of most findings of {label}, {usual}", "")
    scales = {v.scale for v in typed.values() if v.scale}
    if len(scales) == 1 and any(v.number > max(scales) for v in typed.values()):
        above = values[values.map({t: v.number > max(scales) for t, v in typed.items()})]
        faults.cells(above, f"at most {max(scales)}, the top of the scale of {label}", "")


def _kind(said: str, typed: list[Typed]) -> Kind:
    if said == "grade":
        return "grade"
    if said == "measurement" or any(t.unit for t in typed):
        return "measurement"
    numbers = {t.number for t in typed}
    if any(t.scale for t in typed):
        return "grade"
    if numbers <= {0.0, 1.0}:
        return "sign"
    graded = all(0 <= n <= 6 for n in numbers) and len(numbers) <= MOST_GRADES
    thirds = all(abs(3 * n - round(3 * n)) < 1e-9 for n in numbers)
    return "grade" if graded and thirds else "measurement"


def _notes(label: str, typed: dict[str, Typed]) -> tuple[str, ...]:
    units = sorted({t.unit for t in typed.values() if t.unit})
    scales = sorted({t.scale for t in typed.values() if t.scale})
    bare = any(not t.unit and not t.scale for t in typed.values())
    notes = []
    if units and bare:
        notes.append(f"{label}: numbers without a unit are taken to be {units[0]} like the others.")
    if scales and bare:
        notes.append(f"{label}: grades without a scale are taken to be out of {scales[0]}.")
    return tuple(notes)


def _signs(label: str, values: pd.Series[str], said: str, faults: Faults) -> ItemValues:
    spelt = {text: _word(text) for text in values.unique()}
    words = ordered_words(set(spelt.values()))
    _same_meaning(label, values, spelt, faults)
    if len(words) > MOST_WORDS:
        faults.rows(
            [values.index[0]], "value", f"{len(words)} different words for {label}",
            f"at most {MOST_WORDS}", "Free text has no agreement: give it words of its own.",
        )  # fmt: skip
    numbers = [text for text in spelt if typed_value(text).number == typed_value(text).number]
    if not said and 0 < len(numbers) < len(spelt):
        wrong = values[values.isin(numbers)]
        faults.cells(wrong, f"a word, as most findings of {label} are", "Write all alike.")
    place = {w: float(i) for i, w in enumerate(words)}
    number = values.map({text: place[word] for text, word in spelt.items()}).astype(float)
    joined = sorted({f"{text.strip()} as {word}" for text, word in spelt.items()
                     if text.strip().casefold() != word})  # fmt: skip
    notes = (f"{label}: read {', '.join(joined)}.",) if joined else ()
    return ItemValues("sign", words, number, notes)


def _word(text: str) -> str:
    bare = " ".join(text.strip().casefold().split())
    return SAME_WORD.get(bare, bare)


def _same_meaning(
    label: str, values: pd.Series[str], spelt: dict[str, str], faults: Faults
) -> None:
    """Two words for present, or two for absent, may be one finding or two: refused."""
    for family in ONE_FINDING:
        used = values.map(spelt)
        found = used[used.isin(family)]
        if found.nunique() > 1:
            usual = str(found.mode().iloc[0])
            wrong = values[found.index[found != usual]]
            faults.cells(
                wrong, f"{usual}, as in most findings of {label}", "One word for one finding."
            )


def ordered_words(words: set[str]) -> tuple[str, ...]:
    """Absent before present; other words alphabetically between."""
    first = [w for w in ABSENT if w in words]
    last = [w for w in PRESENT if w in words]
    return (*first, *sorted(words - set(ABSENT) - set(PRESENT)), *last)
