"""A learner at a real patient: what they found, held beside what their supervisor found."""

from sidewise.practice.supervised.comparison import (
    COMPARISON_FORMAT,
    HandsCompared,
    compare_hands,
)
from sidewise.practice.supervised.learner_record import learner_record, parse_finding, typed_finding
from sidewise.practice.supervised.place import FindingCompared

__all__ = [
    "COMPARISON_FORMAT",
    "FindingCompared",
    "HandsCompared",
    "compare_hands",
    "learner_record",
    "parse_finding",
    "typed_finding",
]
