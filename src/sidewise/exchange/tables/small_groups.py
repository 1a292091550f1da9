"""Who stands out: patients with few others like them in what a stranger may know of a person."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field

from sidewise.record.model import Record

FEWEST = 5
"""Fewer patients alike than this are warned of. Tables that leave a house usually have a floor of 5
to 10; common practice, no source."""
Traits = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SmallGroup:
    """Patients alike in these traits, fewer than the floor."""

    traits: Traits
    patients: int

    @property
    def sentence(self) -> str:
        """The same in words."""
        many = "1 patient" if self.patients == 1 else f"{self.patients} patients"
        return f"{many}: {', '.join(self.traits)}"


@dataclass
class GroupCounts:
    """Patients counted by what a stranger may know: age in tens, sex, hand, sides, setting."""

    _patients: dict[Traits, set[str]] = field(default_factory=lambda: defaultdict(set))

    def add(self, record: Record) -> None:
        """Count one more record."""
        self._patients[_traits(record)].add(record.context.patient)

    def small(self, fewest: int = FEWEST) -> tuple[SmallGroup, ...]:
        """The groups of fewer than `fewest` patients, the smallest first."""
        sizes = {traits: len(patients) for traits, patients in self._patients.items()}
        small = [SmallGroup(traits, size) for traits, size in sizes.items() if size < fewest]
        return tuple(sorted(small, key=lambda group: (group.patients, group.traits)))

    def exposed(self, fewest: int = FEWEST) -> int:
        """How many patients are in such a group at one visit at least."""
        small = [there for there in self._patients.values() if len(there) < fewest]
        return len(set().union(*small))


def _traits(record: Record) -> Traits:
    c = record.context
    replaced = [side for side in ("left", "right") if getattr(c.known, side).replacement]
    return (
        _decade(c.age),
        c.sex or "sex not stated",
        f"{c.dominant}-handed" if c.dominant else "hand not stated",
        f"complaint {' and '.join(c.complaint)}" if c.complaint else "no complaint",
        *(f"{side} joint replaced" for side in replaced),
        c.setting or "setting not stated",
    )


def _decade(age: int | None) -> str:
    if age is None:
        return "age not stated"
    return "90 or older" if age >= 90 else f"{age // 10 * 10} to {age // 10 * 10 + 9}"
