"""Draws the anatomical atlas of a region from geometry: skin, bones, muscles, nerve areas.

Run by hand, never at run time: `python -m tools.figure build`. Lengths are metres in the body
frame (x to the patient's left, y backwards, z upwards) unless a name says otherwise.
"""
