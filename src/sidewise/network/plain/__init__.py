"""Elimination in numpy alone: the default, and the oracle of the compiled path."""
