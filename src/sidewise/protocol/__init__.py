"""What can be examined, and how."""

from sidewise.protocol.loader import protocol_of
from sidewise.protocol.model import (
    AnatomicalStructure,
    HistoryItem,
    Item,
    PretestQuestion,
    Protocol,
    Reading,
    Stage,
    VitalSign,
)

__all__ = [
    "AnatomicalStructure",
    "HistoryItem",
    "Item",
    "PretestQuestion",
    "Protocol",
    "Reading",
    "Stage",
    "VitalSign",
    "protocol_of",
]
