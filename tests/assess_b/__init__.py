"""Tests of the numerical cores of `sidewise.assess`."""
