"""The region that the benchmarks measure."""

from __future__ import annotations

from sidewise.measure.norms.tables import tables_of
from sidewise.protocol import protocol_of
from sidewise.regions import regions

SHOULDER = regions()["shoulder"]
REGIONS = {"shoulder": SHOULDER}
PROTOCOL = protocol_of(SHOULDER)
TABLES = tables_of(SHOULDER)
WORDS = PROTOCOL.vocabulary
