"""What can be examined, and how. Imports nothing else of ours but errors."""

from sidewise.protocol.loader import load_protocol, regions
from sidewise.protocol.model import (
    Basis,
    HistoryItem,
    Item,
    Mark,
    Protocol,
    Reading,
    Stage,
    Structure,
    VitalSign,
)

__all__ = [
    "Basis",
    "HistoryItem",
    "Item",
    "Mark",
    "Protocol",
    "Reading",
    "Stage",
    "Structure",
    "VitalSign",
    "load_protocol",
    "regions",
]
