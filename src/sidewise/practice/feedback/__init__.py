"""What a finished attempt teaches: what was missed, how well it was judged, one thing to change."""

from sidewise.practice.feedback.report import FEEDBACK_FORMAT, Feedback, feedback
from sidewise.practice.feedback.scores import (
    ChanceCalibration,
    ChanceScore,
    chance_calibration,
    score_chances,
)
from sidewise.practice.feedback.text import feedback_lines

__all__ = [
    "FEEDBACK_FORMAT",
    "ChanceCalibration",
    "ChanceScore",
    "Feedback",
    "chance_calibration",
    "feedback",
    "feedback_lines",
    "score_chances",
]
