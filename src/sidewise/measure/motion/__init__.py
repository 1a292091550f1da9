"""Angles from landmarks, photographs and tilt sensors."""
