"""Regions as values: an invented one, whole and with each of its optional parts absent."""
