"""Variance components, generalizability and internal consistency of marks."""
