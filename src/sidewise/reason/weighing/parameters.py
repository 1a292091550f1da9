"""Links and leaks of one record: what was learned, and for what was seen one more study.

Links are kept with the draws last, a row for each link: a record touches the rows of what was
seen on it and shares everything else with every record of its region, complaint and setting. The
engine's `Parameters` lead with the draws; they are views of these arrays.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from sidewise import network as engine
from sidewise.evidence.fit.fitted import Fitted, fitted_of
from sidewise.ground.arrays import Array, IndexArray
from sidewise.knowledge.region import Region
from sidewise.reason.judging.grading import Louder
from sidewise.reason.weighing.layout import Layout, network_layout
from sidewise.reason.weighing.pretest_prior import PretestPrior, unstudied_figures


@dataclass(frozen=True, eq=False)
class ParameterDraws:
    """Parameters of a network draw by draw, and the mean of the draws."""

    each: engine.Parameters
    mean: engine.Parameters


@dataclass(frozen=True, eq=False)
class LearnedParameters:
    """What every record of a region, complaint and setting shares; draws last.

    arcs (D, A): links of the fit as they are in the setting. link (links of the network, D) and
    leak (readings, D) from them, with their means; rest: what no finding changes, and its mean.
    """

    fitted: Fitted
    arcs: Array
    link: Array
    leak: Array
    mean_link: Array
    mean_leak: Array
    rest: dict[str, Array]
    mean_rest: dict[str, Array]


@lru_cache(maxsize=4)
def fitted_draws(region: Region, draws: int) -> Fitted:
    """The fit, as so many draws."""
    return fitted_of(region).draws(draws)


@lru_cache(maxsize=16)
def links_in(region: Region, draws: int, setting: str) -> Array:
    """(D, A) links of the fit as they are in a setting."""
    return fitted_draws(region, draws).link_in(setting)


# Few: 5 MB each with 500 draws, 19 MB with 2000, and made again in some milliseconds.
@lru_cache(maxsize=4)
def learned_parameters(
    region: Region, complaint: tuple[str, ...], setting: str, draws: int
) -> LearnedParameters:
    """What these records share; the arrays are not to be written to."""
    laid, fitted = network_layout(region, complaint), fitted_draws(region, draws)
    arcs = links_in(region, draws, setting)
    link = _link_rows(laid, arcs, np.arange(laid.structure.link_count))
    leak = np.ascontiguousarray(fitted.leak.T[laid.rows])
    spread = {
        "rho_structure": fitted.rho_s[:, laid.family_rows],
        "rho_mechanism": fitted.rho_m[:, laid.family_rows],
    }
    fixed = unstudied_figures(laid)
    means = {name: value.mean(axis=0, keepdims=True) for name, value in spread.items()}
    return LearnedParameters(
        fitted=fitted,
        arcs=arcs,
        link=link,
        leak=leak,
        mean_link=link.mean(axis=1),
        mean_leak=leak.mean(axis=1),
        rest={**fixed, **spread},
        mean_rest={**fixed, **means},
    )


def draw_parameters(
    laid: Layout,
    known: LearnedParameters,
    before: PretestPrior,
    rows: IndexArray,
    seed: int,
    louder: Mapping[str, Louder] | None = None,
) -> ParameterDraws:
    """Parameters of a record on which the readings of these rows of the fit were seen.

    They get the effect of one more study, drawn by `seed`. `louder`: readings, by the network's
    name, found beyond their threshold, so that they have less of a leak.
    """
    study = known.fitted.one_more_study(known.arcs, seed, rows)
    readings, columns = laid.of_rows(rows)
    link, leak = known.link.copy(), known.leak.copy()
    link[columns] = _link_rows(laid, study.link, columns)
    leak[readings] = study.leak.T[laid.rows[readings]]
    raise_voices(laid, louder or {}, link, leak)
    keep_in_bounds(laid, columns, link, leak)
    mean_link, mean_leak = known.mean_link.copy(), known.mean_leak.copy()
    mean_link[columns] = link[columns].mean(axis=1)
    mean_leak[readings] = leak[readings].mean(axis=1)
    keep_in_bounds(laid, columns, mean_link[:, None], mean_leak[:, None])
    return ParameterDraws(
        each=engine.Parameters(prior=before.prior, link=link.T, leak=leak.T, **known.rest),
        mean=engine.Parameters(
            prior=before.mean_prior,
            link=mean_link[None],
            leak=mean_leak[None],
            **known.mean_rest,
        ),
    )


def keep_in_bounds(laid: Layout, columns: IndexArray, link: Array, leak: Array) -> None:
    """Raises these links (links, D) to what the core of their family allows beside the leaks."""
    core = laid.structure.core_links
    mine = leak[core.reading[columns]].T
    link[columns] = np.maximum(link[columns], engine.lowest_link(mine, core.sharing[columns]).T)


def raise_voices(laid: Layout, louder: Mapping[str, Louder], link: Array, leak: Array) -> None:
    """Writes into links (links, D) and leaks (readings, D) what readings beyond their threshold
    multiply.

    A finding of that strength is a rarer event than the reading itself: rarer by `leak` without a
    listed cause, and by `lower` for each level below the highest of a cause. It is then found
    present, so that its likelihood ratio is the larger, the further beyond it is.
    """
    structure = laid.structure
    for name, factor in louder.items():
        reading = structure.reading_index[name]
        leak[reading] *= factor.leak
        for position, variable in enumerate(structure.parent_numbers[reading]):
            columns = structure.link_columns(reading, position)
            below = np.arange(structure.levels[variable] - 2, -1, -1)
            link[columns] *= (factor.lower**below)[:, None]


def _link_rows(laid: Layout, arcs: Array, columns: IndexArray) -> Array:
    """(n, D) some links of the network, from those of the fit (D, A); silent ones are zero."""
    found = np.ascontiguousarray(arcs.T[laid.arcs[columns]])
    found[laid.silent[columns]] = 0.0
    return found
