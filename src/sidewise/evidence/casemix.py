"""Case mixes: who was in the room, as probabilities of each condition's levels."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, model_validator

from sidewise.errors import UserError
from sidewise.evidence.conditions import Conditions, load_conditions
from sidewise.evidence.pretest_table import load_pretest_table
from sidewise.protocol.kinds import Frozen
from sidewise.protocol.loader import read_yaml, region_folder, validated
from sidewise.protocol.model import Basis

Array = NDArray[np.float64]


class Mix(Frozen):
    """Level probabilities (above none) of the conditions in one kind of room."""

    label: str
    levels: dict[str, tuple[float, ...]]
    basis: tuple[Basis, ...] = Field(min_length=1)


class Factor(Frozen):
    """95% limits and middle of a factor from 0 to 1."""

    low: float = Field(gt=0, lt=1)
    middle: float = Field(gt=0, lt=1)
    high: float = Field(gt=0, lt=1)

    @model_validator(mode="after")
    def _ordered(self) -> Factor:
        if not self.low < self.middle < self.high:
            raise ValueError("low < middle < high")
        return self


class SpecialFactor(Factor):
    """A factor for the links of one condition in some families and settings."""

    families: tuple[str, ...]
    condition: str
    settings: tuple[str, ...]
    basis: tuple[Basis, ...] = Field(min_length=1)


class Travel(Frozen):
    """How links fare in settings without a row."""

    near: dict[str, tuple[str, ...]]
    usual: Factor
    special: tuple[SpecialFactor, ...]
    basis: tuple[Basis, ...] = Field(min_length=1)


class CaseMixFile(Frozen):
    """The file as it stands."""

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


@lru_cache(maxsize=8)
def load_case_mixes(region: str) -> CaseMixes:
    """The mixes of studies from case_mix.yaml and those of the settings from pretest.csv."""
    conditions = load_conditions(region)
    path = region_folder(region) / "case_mix.yaml"
    data: CaseMixFile = validated(CaseMixFile, read_yaml(path), path.name)
    mixes = {name: column_array(conditions, mix.levels) for name, mix in data.mixes.items()}
    labels = {name: mix.label for name, mix in data.mixes.items()}
    for setting, base in load_pretest_table(region).base_means(conditions).items():
        mixes[setting], labels[setting] = base, setting.replace("_", " ")
    return CaseMixes(conditions, mixes, labels, data.travel)
