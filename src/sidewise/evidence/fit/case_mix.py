"""Case mixes: who was in the room, as probabilities of each condition's levels."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from pydantic import Field, model_validator

from sidewise.errors import UserError
from sidewise.evidence.conditions import Conditions, conditions_of
from sidewise.evidence.pretest.table import pretest_table_of
from sidewise.ground.arrays import Array
from sidewise.ground.frozen import Frozen
from sidewise.ground.provenance import Provenance
from sidewise.ground.validation import validate_model
from sidewise.knowledge.region import Region


class Mix(Frozen):
    """Level probabilities (above none) of the conditions in one kind of clinic."""

    label: str
    levels: dict[str, tuple[float, ...]]
    basis: tuple[Provenance, ...] = Field(min_length=1)


class CaseMixFactor(Frozen):
    """95% limits and middle of a factor from 0 to 1."""

    low: float = Field(gt=0, lt=1)
    middle: float = Field(gt=0, lt=1)
    high: float = Field(gt=0, lt=1)

    @model_validator(mode="after")
    def _ordered(self) -> CaseMixFactor:
        if not self.low < self.middle < self.high:
            raise ValueError("low < middle < high")
        return self


class SpecialFactor(CaseMixFactor):
    """A factor for the links of one condition in some families and settings."""

    families: tuple[str, ...]
    condition: str
    settings: tuple[str, ...]
    basis: tuple[Provenance, ...] = Field(min_length=1)


class Travel(Frozen):
    """How links carry over to settings without a row."""

    near: dict[str, tuple[str, ...]]
    usual: CaseMixFactor
    special: tuple[SpecialFactor, ...]
    basis: tuple[Provenance, ...] = Field(min_length=1)


class CaseMixFile(Frozen):
    """The file, unprocessed."""

    mixes: dict[str, Mix]
    travel: Travel


@dataclass(frozen=True)
class CaseMixes:
    """Every mix by name as an array over the columns (C,) of `Conditions`, and the travel rules."""

    conditions: Conditions
    mixes: Mapping[str, Array]
    labels: Mapping[str, str]
    travel: Travel

    def mix(self, name: str) -> Array:
        """The mix called `name`; UserError with the known names if there is none."""
        try:
            return self.mixes[name]
        except KeyError:
            known = ", ".join(sorted(self.mixes))
            raise UserError("setting", name, f"one of {known}") from None


def column_array(conditions: Conditions, levels: Mapping[str, tuple[float, ...]]) -> Array:
    """(C,) from level probabilities by condition; 0 for conditions not named."""
    found = np.zeros(len(conditions.columns))
    for name, values in levels.items():
        part = conditions.slices.get(name)
        if part is None or part.stop - part.start != len(values):
            raise UserError(f"mix of {name}", values, "one figure for each level above none")
        if min(values) < 0 or sum(values) >= 1:
            raise UserError(f"mix of {name}", values, "figures of 0 or more that sum to below 1")
        found[part] = values
    return found


def case_mixes_of(region: Region) -> CaseMixes:
    """The mixes of studies from case_mix.yaml and those of the settings from pretest.csv."""
    return region.view(_case_mixes)


def _case_mixes(region: Region) -> CaseMixes:
    conditions = conditions_of(region)
    data = validate_model(CaseMixFile, region.part("case_mix"), "case_mix.yaml")
    mixes = {name: column_array(conditions, mix.levels) for name, mix in data.mixes.items()}
    labels = {name: mix.label for name, mix in data.mixes.items()}
    for setting, base in pretest_table_of(region).base_means(conditions).items():
        mixes[setting], labels[setting] = base, setting.replace("_", " ")
    return CaseMixes(conditions, mixes, labels, data.travel)
