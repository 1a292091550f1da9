"""Examiners: severity, drift, halo, fit, and groups compared with care."""
