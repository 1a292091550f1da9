"""One orderly examination of both sides: recorded, measured, weighed, followed and taught."""

__version__ = "0.1.0"
