"""The best examination for the time there is: which items, in which order, proven or with the gap.

Pure functions of a record, its region and the minutes. The solver is imported where it is used.
"""

from sidewise.plan.examination_plan import ExaminationPlan, plan_examination
from sidewise.plan.presentation import presentation

__all__ = ["ExaminationPlan", "plan_examination", "presentation"]
