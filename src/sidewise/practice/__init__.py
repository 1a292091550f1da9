"""Simulated patients: drawn from the network, whole findings and a story, the truth apart.

Pure functions of a region, a seed and a teacher's wishes. Nothing here is a patient, and nothing it
makes can be read as one (`case_file`).
"""

from sidewise.practice.case import PracticeCase, practice_case
from sidewise.practice.wishes import CaseWishes

__all__ = ["CaseWishes", "PracticeCase", "practice_case"]
