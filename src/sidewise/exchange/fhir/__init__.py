"""Examinations as FHIR R4 (4.0.1) document Bundles, out and in."""
