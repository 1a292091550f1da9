"""A layout in words that can be read, changed and given back with --columns.

    student=Candidate; station=Case; mark=Score; maximum=20; examiner=none; headings=3; leave=45-46
    student=Candidate; stations=History|Look|Feel; maximum=20|20|10; examiner=none

Parts given override the proposal; `yes` takes it as it is. What is not known stands as `?` and must
be said.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from sidewise.errors import UserError
from sidewise.teaching.tables.heading_words import WORDS, plain_words
from sidewise.teaching.tables.sheet_layout import SheetLayout, StationColumn

UNKNOWN = "?"
NONE, EACH = "none", "each"
SEPARATORS = {";": "; ", "|": "|"}


def layout_words(layout: SheetLayout) -> str:
    """The layout as it would be given to --columns."""
    parts = [
        f"{role}={layout.headings[place]}" for role, place in layout.columns.items()
        if role not in ("comment", "maximum", "examiner") and not (
            layout.kind == "wide" and role in ("station", "mark", "global_rating", "item")
        )
    ]  # fmt: skip
    if layout.kind == "wide":
        parts.append(f"stations={'|'.join(layout.headings[s.mark] for s in layout.stations)}")
        if any(s.rating is not None for s in layout.stations):
            parts.append(f"ratings={'|'.join(_heading(layout, s.rating) for s in layout.stations)}")
    parts += [f"maximum={_maximum_words(layout)}", f"examiner={_examiner_words(layout)}"]
    parts.append(f"headings={layout.heading_row}")
    if layout.left:
        parts.append(f"leave={','.join(map(str, layout.left))}")
    return "; ".join(parts)


def _heading(layout: SheetLayout, place: int | None) -> str:
    return NONE if place is None else layout.headings[place]


def _maximum_words(layout: SheetLayout) -> str:
    if layout.maximum is not None:
        return f"{layout.maximum:g}"
    if layout.own_maxima:
        return EACH
    if layout.kind == "long":
        place = layout.columns.get("maximum")
        return UNKNOWN if place is None else layout.headings[place]
    found = [s.maximum for s in layout.stations]
    if any(m is None for m in found):
        return UNKNOWN
    return "|".join(f"{m:g}" for m in found if m is not None)


def _examiner_words(layout: SheetLayout) -> str:
    if layout.no_examiner:
        return NONE
    if "examiner" in layout.columns:
        return layout.headings[layout.columns["examiner"]]
    return "|".join(_heading(layout, s.examiner) for s in layout.stations)


def changed_layout(layout: SheetLayout, text: str, name: str) -> SheetLayout:
    """The layout with the parts of `text` put in; `UserError` for what is not understood."""
    if plain_words(text) in ("yes", "y"):
        return layout
    for part in filter(None, (p.strip() for p in text.split(";"))):
        key, equals, value = (x.strip() for x in part.partition("="))
        change = _CHANGES.get(key) or (_role_change(key) if key in WORDS else None)
        if not equals or not value or change is None:
            raise UserError(
                "columns", part, f"one of {', '.join([*_CHANGES, *WORDS])}, = and a heading",
                f"For example {layout_words(layout)[:120]}",
            )  # fmt: skip
        if value != UNKNOWN:
            layout = change(layout, value, name)
    return layout


Change = Callable[[SheetLayout, str, str], SheetLayout]


def _place(layout: SheetLayout, heading: str, name: str) -> int:
    wanted = plain_words(heading)
    found = [i for i, h in enumerate(layout.headings) if plain_words(h) == wanted]
    if len(found) != 1:
        raise UserError(
            f"{name}: headings", heading,
            f"one of: {', '.join(h for h in layout.headings if h)[:200]}",
            "Each heading once." if found else "",
        )  # fmt: skip
    return found[0]


def _role_change(role: str) -> Change:
    def change(layout: SheetLayout, value: str, name: str) -> SheetLayout:
        if value == NONE:
            rest = {k: v for k, v in layout.columns.items() if k != role}
            return replace(layout, columns=rest)
        columns = {**layout.columns, role: _place(layout, value, name)}
        kind = "long" if role in ("mark", "station") else layout.kind
        return replace(layout, columns=columns, kind=kind)

    return change


def _examiner(layout: SheetLayout, value: str, name: str) -> SheetLayout:
    if value == NONE:
        rest = {k: v for k, v in layout.columns.items() if k != "examiner"}
        return replace(layout, columns=rest, no_examiner=True)
    if "|" not in value:
        return replace(_role_change("examiner")(layout, value, name), no_examiner=False)
    places = _places(layout, value, name)
    stations = tuple(replace(s, examiner=p) for s, p in zip(layout.stations, places, strict=True))
    return replace(layout, stations=stations, no_examiner=False)


def _places(layout: SheetLayout, value: str, name: str) -> list[int | None]:
    parts = [part.strip() for part in value.split("|")]
    if len(parts) != len(layout.stations):
        raise UserError("columns", value, f"{len(layout.stations)} headings, one a station", "")
    return [None if part == NONE else _place(layout, part, name) for part in parts]


def _maximum(layout: SheetLayout, value: str, name: str) -> SheetLayout:
    if value == EACH:
        return replace(layout, own_maxima=True)
    layout, parts = replace(layout, own_maxima=False), value.split("|")
    try:
        numbers = [float(part.replace(",", ".")) for part in parts]
    except ValueError:
        if layout.kind == "wide":
            raise UserError("columns", value, "a number, or one for each station", "") from None
        return replace(
            layout, columns={**layout.columns, "maximum": _place(layout, value, name)}, maximum=None
        )
    if len(numbers) == 1:
        stations = tuple(replace(s, maximum=numbers[0]) for s in layout.stations)
        return replace(layout, maximum=numbers[0], stations=stations)
    if len(numbers) != len(layout.stations):
        raise UserError("columns", value, f"one number, or {len(layout.stations)}", "")
    stations = tuple(replace(s, maximum=m) for s, m in zip(layout.stations, numbers, strict=True))
    return replace(layout, stations=stations, maximum=None)


def _stations(layout: SheetLayout, value: str, name: str) -> SheetLayout:
    known = {s.mark: s for s in layout.stations}
    places = [_place(layout, part, name) for part in value.split("|")]
    stations = tuple(
        known.get(p) or StationColumn(layout.headings[p], p, maximum=layout.maximum) for p in places
    )
    return replace(layout, kind="wide", stations=stations)


def _ratings(layout: SheetLayout, value: str, name: str) -> SheetLayout:
    places = _places(layout, value, name)
    stations = tuple(replace(s, rating=p) for s, p in zip(layout.stations, places, strict=True))
    return replace(layout, stations=stations)


def _leave(layout: SheetLayout, value: str, _name: str) -> SheetLayout:
    if value == NONE:
        return replace(layout, left=())
    rows: list[int] = []
    for part in value.split(","):
        first, _, last = part.strip().partition("-")
        if not first.isdigit() or (last and not last.isdigit()):
            raise UserError("columns", f"leave={value}", "rows such as 17,45-50", "")
        rows += range(int(first), int(last or first) + 1)
    return replace(layout, left=tuple(rows))


def _headings_row(layout: SheetLayout, value: str, _name: str) -> SheetLayout:
    if value != str(layout.heading_row):
        # The headings decide everything else: another row needs a new proposal, made by the reader.
        raise UserError("columns", f"headings={value}", f"headings={layout.heading_row}",
                        "Delete the rows above the headings and read the sheet again.")  # fmt: skip
    return layout


_CHANGES: dict[str, Change] = {
    "examiner": _examiner, "maximum": _maximum, "stations": _stations, "ratings": _ratings,
    "leave": _leave, "headings": _headings_row,
}  # fmt: skip
