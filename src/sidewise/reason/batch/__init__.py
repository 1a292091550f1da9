"""Whole registers weighed chunk by chunk."""
