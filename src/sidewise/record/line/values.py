"""From what was said to values: each kind of value that the item takes is asked in turn."""

from __future__ import annotations

from sidewise.kinds import kind_of
from sidewise.kinds.common.line import Options, Said
from sidewise.protocol import Item


def values_of(item: Item, said: Said) -> list[Options]:
    """For each kind of value the item takes, what the words may mean; kinds they fit only."""
    found = []
    for limits in item.kinds:
        line = kind_of(limits).line
        if not set(said) <= line.said(limits):
            continue
        options = line.read(said, limits)
        if options is not None:
            found.append(options)
    return found
