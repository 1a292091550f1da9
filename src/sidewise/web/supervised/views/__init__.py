"""Pages of a learner at a real patient: the supervisor's, and the learner's."""
