"""Everything a fit is made from, and the fingerprint that reveals a stale fit."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from sidewise.evidence.conditions import Conditions, Families, conditions_of, families_of
from sidewise.evidence.fit.case_mix import CaseMixes, case_mixes_of
from sidewise.evidence.fit.causes import main_causes
from sidewise.evidence.fit.links import (
    JudgedLink,
    ReadingPrior,
    links_of,
    measured_columns,
    reading_prior,
)
from sidewise.evidence.studies.combinations import Combination, combinations_of
from sidewise.evidence.studies.groups import PatientGroup, study_groups
from sidewise.evidence.studies.rows import AccuracyRows, accuracy_rows_of
from sidewise.knowledge.region import Region
from sidewise.protocol import Reading, protocol_of

# What families say of the reasoner alone does not make a fit stale.
NOT_FITTED: dict[str, Any] = {"witnesses": True, "families": {"__all__": {"near"}}}
METHOD = "graded noisy-or, study effects, ensemble draws, version 2"


@dataclass(frozen=True)
class Inputs:
    """The knowledge of one region that the fit uses."""

    region: str
    conditions: Conditions
    families: Families
    readings: tuple[Reading, ...]
    rows: AccuracyRows
    links: tuple[JudgedLink, ...]
    mixes: CaseMixes
    combinations: tuple[Combination, ...]

    @cached_property
    def groups(self) -> tuple[PatientGroup, ...]:
        """Every binomial group of every fitted row."""
        return study_groups(self.rows, self.mixes)

    @cached_property
    def groups_by_reading(self) -> Mapping[str, tuple[PatientGroup, ...]]:
        """The groups of each reading, () where it has none."""
        found: dict[str, list[PatientGroup]] = {reading.id: [] for reading in self.readings}
        for group in self.groups:
            found[group.reading].append(group)
        return {reading: tuple(mine) for reading, mine in found.items()}

    @cached_property
    def priors(self) -> tuple[ReadingPrior, ...]:
        """The prior of each reading, in order."""
        return tuple(self._prior(reading) for reading in self.readings)

    def _prior(self, reading: Reading) -> ReadingPrior:
        rows = [row for row in self.rows.fitted if row.reading == reading.id]
        groups = self.groups_by_reading[reading.id]
        judged = [link for link in self.links if link.reading == reading.id]
        measured = measured_columns(rows, groups, self.conditions)
        asked = reading.criterion.test == "answer"
        kept = main_causes(judged, measured, self.conditions, asked)
        return reading_prior(reading.id, reading.monotone, kept, measured, self.conditions)

    @cached_property
    def fingerprint(self) -> str:
        """SHA-256 over all that enters the fit; changes when any figure in it does."""
        digest = hashlib.sha256(METHOD.encode())
        for group in self.groups:
            parts = (group.reading, group.series, group.label, group.positive, group.size)
            digest.update(repr((*parts, group.diseased, group.weight, group.rows)).encode())
            digest.update(np.round(group.levels, 9).tobytes())
        for prior in self.priors:
            digest.update(
                repr((prior.reading, prior.columns, prior.kinds, prior.leak_kind)).encode()
            )
            digest.update(np.round(np.vstack([prior.mean, prior.sd]), 9).tobytes())
        for row in self.rows.fitted:
            digest.update(repr((row.id, row.sensitivity, row.specificity)).encode())
        for combination in self.combinations:
            digest.update(repr(combination).encode())
        digest.update(self.families.model_dump_json(exclude=NOT_FITTED).encode())
        digest.update(self.mixes.travel.model_dump_json().encode())
        return digest.hexdigest()


def inputs_of(region: Region) -> Inputs:
    """All of a region's evidence, checked."""
    return Inputs(
        region=region.id,
        conditions=conditions_of(region),
        families=families_of(region),
        readings=protocol_of(region).readings,
        rows=accuracy_rows_of(region),
        links=links_of(region),
        mixes=case_mixes_of(region),
        combinations=combinations_of(region),
    )
