"""Two clinicians' readings as lines of text."""

from __future__ import annotations

from collections.abc import Iterator

from sidewise.note.two_readers import PlaceRead, TwoReaders


def two_readers_lines(found: TwoReaders) -> Iterator[str]:
    """The two readings, what differs first, then what is alike, then what one alone read."""
    first, second = found.readers
    yield f"{found.patient}: {first} and {second}. {found.sentence}"
    yield from (f"  {caution}" for caution in found.cautions)
    for how in ("beyond error", "different", "within error"):
        yield from _group(how, [place for place in found.places if place.how == how], found)
    for how in ("alike", "one only"):
        names = [_where(place) for place in found.places if place.how == how]
        if names:
            yield f"{how.upper()}  {'; '.join(names)}"


def _group(how: str, places: list[PlaceRead], found: TwoReaders) -> Iterator[str]:
    if not places:
        return
    yield how.upper()
    for place in places:
        first, second = found.readers
        yield f"  {_where(place)}: {first} {place.first}; {second} {place.second}"
        yield f"    {place.against}{f' [{place.sources[0]}]' if place.sources else ''}"


def _where(place: PlaceRead) -> str:
    return f"{place.label} ({place.side})" if place.side else place.label
