"""Stations of a practical examination: what is set, what is marked, what a set of them covers."""
