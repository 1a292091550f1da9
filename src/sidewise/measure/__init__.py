"""Angles, norms, side differences and change over visits."""

from sidewise.measure.norms.norms import NormComparison, norms_for
from sidewise.measure.norms.tables import MeasurementTables, tables_of
from sidewise.measure.sides.differences import SideDifference, side_differences
from sidewise.measure.sides.readings import Measurement, measurements
from sidewise.measure.visits.follow_up import follow
from sidewise.measure.visits.results import Followed, FollowUp
from sidewise.measure.visits.scales import ScaleChange, scale_change

__all__ = [
    "FollowUp",
    "Followed",
    "Measurement",
    "MeasurementTables",
    "NormComparison",
    "ScaleChange",
    "SideDifference",
    "follow",
    "measurements",
    "norms_for",
    "scale_change",
    "side_differences",
    "tables_of",
]
