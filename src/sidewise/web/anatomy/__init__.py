"""Anatomy: the drawn body for whoever has an account, and its sheets for every page."""
