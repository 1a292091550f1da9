"""What was learned, as shipped: draws of leaks, links, study effects and correlations.

Readings are independent given the case mix, so a draw of one reading may be put beside any draw
of another: `Fitted.draws(n)` makes more than the shipped number by permuting each reading's own
draws with a stable seed.
"""

from __future__ import annotations

import json
import zipfile
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sidewise.errors import UserError
from sidewise.evidence.conditions import Conditions, Families, conditions_of, families_of
from sidewise.evidence.fit.case_mix import CaseMixes, CaseMixFactor, case_mixes_of
from sidewise.ground.arrays import Array, BoolArray, IndexArray
from sidewise.ground.interval import Z95
from sidewise.knowledge.region import Region
from sidewise.network import lowest_link

MARKS = ("measured", "leans on judgement", "by definition")
NOT_STUDIED = "not studied in this setting"
ALMOST_ONE = 0.999


@dataclass(frozen=True)
class StudyEffect:
    """Leak (D, R) and links (D, A) of one more clinic."""

    leak: Array
    link: Array


@dataclass(frozen=True)
class Fitted:
    """Draws. D draws, R readings, A arcs (a reading and a column of a parent), F families.

    reading_of (A,), column_of (A,): which reading and which of `Conditions.columns` an arc joins.
    leak, tau_se, tau_sp (D, R); link (D, A); rho_s, rho_m (D, F).
    link_mark (A,), leak_mark (R,): number of the mark in `MARKS`.
    learned (A,): the link was measured by a row, whatever its mark.
    settings: for each reading the case mixes of its rows. groups: what belongs to each family.
    """

    region: str
    fingerprint: str
    conditions: Conditions
    groups: Families = field(repr=False)
    readings: tuple[str, ...]
    families: tuple[str, ...]
    reading_of: IndexArray
    column_of: IndexArray
    leak: Array = field(repr=False)
    link: Array = field(repr=False)
    tau_se: Array = field(repr=False)
    tau_sp: Array = field(repr=False)
    rho_s: Array = field(repr=False)
    rho_m: Array = field(repr=False)
    link_mark: IndexArray = field(repr=False)
    leak_mark: IndexArray = field(repr=False)
    learned: BoolArray = field(repr=False)
    settings: tuple[frozenset[str], ...] = field(repr=False)
    mixes: CaseMixes = field(repr=False)
    summary: Mapping[str, Any] = field(repr=False)

    @property
    def count(self) -> int:
        """D, the number of draws."""
        return len(self.leak)

    @cached_property
    def reading_index(self) -> Mapping[str, int]:
        """Position of each reading."""
        return {name: i for i, name in enumerate(self.readings)}

    def arcs(self, reading: str) -> IndexArray:
        """Numbers of the arcs of one reading, columns ascending."""
        return np.flatnonzero(self.reading_of == self.reading_index[reading])

    def dense(self, link: Array | None = None) -> Array:
        """(D, R, C) links, 0 where there is no arc; of `link` (D, A) if given."""
        values = self.link if link is None else link
        found = np.zeros((len(values), len(self.readings), len(self.conditions.columns)))
        found[:, self.reading_of, self.column_of] = values
        return found

    @cached_property
    def parent(self) -> BoolArray:
        """(R, C) where a condition's level can cause the reading."""
        found = np.zeros((len(self.readings), len(self.conditions.columns)), dtype=bool)
        found[self.reading_of, self.column_of] = True
        return found

    def draws(self, count: int) -> Fitted:
        """The same knowledge as `count` draws: the first ones, or more by permuting each reading.

        Nothing new is learned beyond the shipped number; the Monte-Carlo noise of joint figures
        falls, that of a single reading does not.
        """
        if count <= self.count:
            return self._take(np.tile(np.arange(count)[:, None], (1, len(self.readings))))
        blocks = -(-count // self.count)
        rows = [np.tile(np.arange(self.count)[:, None], (1, len(self.readings)))]
        for block in range(1, blocks):
            rng = np.random.default_rng(stable_seed(self.region, "draws", str(block)))
            order = [rng.permutation(self.count) for _ in self.readings]
            rows.append(np.stack(order, axis=1))
        return self._take(np.vstack(rows)[:count])

    def _take(self, which: IndexArray) -> Fitted:
        each = np.arange(len(self.readings))
        arcs = np.arange(len(self.reading_of))
        same = which[:, 0]
        return replace(
            self,
            leak=self.leak[which, each],
            tau_se=self.tau_se[which, each],
            tau_sp=self.tau_sp[which, each],
            link=self.link[which[:, self.reading_of], arcs],
            rho_s=self.rho_s[same],
            rho_m=self.rho_m[same],
        )

    def studied_in(self, setting: str) -> BoolArray:
        """(R,) whether a reading has a row from this setting or one that counts as the same."""
        near = {setting, *self.mixes.travel.near.get(setting, ())}
        return np.array([bool(near & mine) for mine in self.settings])

    def setting_factor(self, setting: str) -> Array:
        """(D, A) what each link is multiplied by in `setting`; 1 where it was studied.

        Only learned links travel badly: judged ones are wide already and signs that define a
        condition define it everywhere. One factor per draw and reading, stable seed.
        """
        self.mixes.mix(setting)
        away = self.learned & ~self.studied_in(setting)[self.reading_of]
        factor = np.ones((self.count, len(self.reading_of)))
        usual = self._factor(self.mixes.travel.usual, setting, "usual")
        factor[:, away] = usual[:, self.reading_of[away]]
        for special in self.mixes.travel.special:
            if setting in special.settings:
                mine = self._special(special.families, special.condition)
                drawn = self._factor(special, setting, special.condition)
                factor[:, mine] = drawn[:, self.reading_of[mine]]
        return factor

    def _special(self, families: Sequence[str], condition: str) -> IndexArray:
        place = self.groups.place
        part = self.conditions.slices[condition]
        inside = np.array([place.get(r, ("", ""))[0] in families for r in self.readings])
        column = (self.column_of >= part.start) & (self.column_of < part.stop)
        return np.flatnonzero(inside[self.reading_of] & column)

    def _factor(self, factor: CaseMixFactor, *names: str) -> Array:
        rng = np.random.default_rng(stable_seed(self.region, "setting", *names))
        low, middle, high = (np.log(p / (1 - p)) for p in (factor.low, factor.middle, factor.high))
        sd = (high - low) / (2 * Z95)
        x = middle + sd * rng.standard_normal((self.count, len(self.readings)))
        return np.asarray(1 / (1 + np.exp(-x)))

    def link_in(self, setting: str) -> Array:
        """(D, A) links as they are in `setting`."""
        return self.link * self.setting_factor(setting)

    def one_more_study(
        self, link: Array, seed: int, readings: IndexArray | None = None
    ) -> StudyEffect:
        """Leak and `link` (D, A) of a clinic that is one more study, one draw of it per row.

        logit(leak) moves by N(0, tau_sp). Of each link, logit of 1 - (1 - leak)(1 - link) moves by
        one N(0, tau_se) per reading, and the link is what explains it beside the moved leak. It is
        below 0 where that clinic sees the finding less often with the condition, as far as the core
        of the reading's family allows (`lowest_link`); never outside one, nor in a setting in which
        it was not studied.
        `readings` restricts the work: columns of others keep their values.
        """
        rng = np.random.default_rng(seed)
        # Drawn for every reading, so that a reading's clinic does not depend on what else was seen.
        move_se, move_sp = rng.standard_normal((2, *self.leak.shape))
        rows = np.arange(len(self.readings)) if readings is None else np.unique(readings)
        leak = self.leak.copy()
        leak[:, rows] = _moved(leak[:, rows], self.tau_sp[:, rows] * move_sp[:, rows])
        arcs = np.flatnonzero(np.isin(self.reading_of, rows))
        which = self.reading_of[arcs]
        present = 1 - (1 - self.leak[:, which]) * (1 - link[:, arcs])
        present = _moved(present, self.tau_se[:, which] * move_se[:, which])
        found = link.copy()
        moved = 1 - (1 - present) / (1 - leak[:, which])
        # Weakened by a setting it says too little to be turned round: not tender would speak for.
        here = (link[:, arcs] >= self.link[:, arcs]).all(axis=0)
        least = lowest_link(leak[:, which], np.where(here, self._core_counts[arcs], 0))
        found[:, arcs] = np.clip(moved, least, ALMOST_ONE)
        return StudyEffect(leak, found)

    @cached_property
    def _core_counts(self) -> IndexArray:
        """(A,) how many conditions share the core of an arc's reading; 0 for an arc outside one."""
        known = {one.id: one for one in self.conditions.network}
        condition = np.array(
            [known[name].structure_family for name, _ in self.conditions.columns]
        )  # fmt: skip
        found = np.zeros(len(self.reading_of), dtype=np.intp)
        for name in self.readings:
            if name not in self.groups.place:
                continue
            near = self.groups.near(self.groups.place[name][0])
            mine = self.arcs(name)
            inside = mine[[condition[column] in near for column in self.column_of[mine]]]
            names = {self.conditions.columns[column][0] for column in self.column_of[inside]}
            found[inside] = len(names)
        return found

    def mark(self, reading: str, condition: str, level: int, setting: str = "") -> str:
        """How a link is known, in words for the screen; "" where there is no link."""
        column = self.conditions.column_index[condition, level]
        arcs = self.arcs(reading)
        mine = arcs[self.column_of[arcs] == column]
        if not len(mine):
            return ""
        arc = int(mine[0])
        away = setting and not self.studied_in(setting)[self.reading_of[arc]]
        if self.learned[arc] and away:
            return NOT_STUDIED
        return MARKS[self.link_mark[arc]]


def _moved(p: Array, by: Array) -> Array:
    p = np.clip(p, 1e-6, 1 - 1e-6)
    return np.asarray(1 / (1 + np.exp(-(np.log(p / (1 - p)) + by))))


def stable_seed(*names: str) -> int:
    """A seed that depends on the words alone (Python's own `hash` of text changes every run)."""
    return zlib.crc32("\x1f".join(names).encode())


def write_fit(folder: Path, arrays: Mapping[str, NDArray[Any]], summary: Mapping[str, Any]) -> None:
    """Writes fitted.npz and fitted.json."""
    with (folder / "fitted.npz").open("wb") as handle:
        np.savez_compressed(handle, **arrays)  # type: ignore[arg-type]
    text = json.dumps(summary, ensure_ascii=False, indent=1)
    (folder / "fitted.json").write_text(text + "\n", encoding="utf-8")


def fitted_of(region: Region) -> Fitted:
    """What was learned for a region; UserError if it is missing or its two files do not match."""
    return region.view(_loaded)


def build_command(region: Region) -> str:
    """What to do where the fit is missing or of other figures."""
    word = region.id if region.is_shipped else region.folder
    return f"Run `python -m sidewise.evidence.build {word}`."


def _loaded(region: Region) -> Fitted:
    arrays_file, summary_file = region.fit
    do = build_command(region)
    try:
        with np.load(arrays_file, allow_pickle=False) as data:
            arrays = {name: data[name] for name in data.files}
        summary = json.loads(summary_file.read_text(encoding="utf-8"))
        shipped = str(arrays["fingerprint"])
        if summary["fingerprint"] != shipped:
            got = summary["fingerprint"][:12]
            raise UserError("fitted.json", got, "the fingerprint of fitted.npz", do)
        return _fitted(region, arrays, summary)
    except OSError as error:
        got = error.strerror or "no file that can be read"
        raise UserError(f"{region.id}: fitted.npz", got, "the shipped fit", do) from error
    except (ValueError, KeyError, EOFError, zipfile.BadZipFile, TypeError) as error:
        raise UserError(f"{region.id}: fitted.npz", str(error), "the shipped fit", do) from error


def _fitted(
    region: Region, arrays: Mapping[str, NDArray[Any]], summary: Mapping[str, Any]
) -> Fitted:
    wide = {
        name: arrays[name].astype(np.float64)
        for name in ("leak", "link", "tau_se", "tau_sp", "rho_s", "rho_m")
    }
    settings = tuple(frozenset(text.split(";")) - {""} for text in arrays["settings"].tolist())
    return Fitted(
        region=region.id,
        fingerprint=str(arrays["fingerprint"]),
        conditions=conditions_of(region),
        groups=families_of(region),
        readings=tuple(arrays["readings"].tolist()),
        families=tuple(arrays["families"].tolist()),
        reading_of=arrays["reading_of"].astype(np.intp),
        column_of=arrays["column_of"].astype(np.intp),
        link_mark=arrays["link_mark"].astype(np.intp),
        leak_mark=arrays["leak_mark"].astype(np.intp),
        learned=arrays["learned"].astype(bool),
        settings=settings,
        mixes=case_mixes_of(region),
        summary=summary,
        **wide,
    )
