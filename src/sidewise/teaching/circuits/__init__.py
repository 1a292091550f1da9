"""Circuits: who is where and when, before whom, and whether examiners can be compared after."""
