"""Angles, norms, side differences and change over visits; imports protocol and record only."""

from sidewise.measure.differences import SideDifference, differences
from sidewise.measure.following import Followed, FollowUp
from sidewise.measure.norms import NormComparison, norms_for
from sidewise.measure.readings import Measurement, measurements
from sidewise.measure.scales import ScaleChange, scale_change
from sidewise.measure.tables import Tables, load_tables
from sidewise.measure.visits import follow

__all__ = [
    "FollowUp",
    "Followed",
    "Measurement",
    "NormComparison",
    "ScaleChange",
    "SideDifference",
    "Tables",
    "differences",
    "follow",
    "load_tables",
    "measurements",
    "norms_for",
    "scale_change",
]
