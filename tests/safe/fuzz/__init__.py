"""Doors that take bytes, and inputs for them guided by coverage: `python -m tests.safe.fuzz`."""
