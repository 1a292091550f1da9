"""Links and leaks of one record: what was learned, and for what was seen one more study.

Links are kept with the draws last, a row for each link: a record touches the rows of what was
seen on it and shares everything else with every record of its region, complaint and setting. The
engine's `Parameters` lead with the draws; they are views of these arrays.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from sidewise.evidence.fitted import Fitted, load_fitted
from sidewise.reason.before import Before, unstudied
from sidewise.reason.engine import network as engine
from sidewise.reason.net import Layout, layout

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Drawn:
    """Parameters draw by draw, and the mean of the draws."""

    each: engine.Parameters
    mean: engine.Parameters


@dataclass(frozen=True, eq=False)
class Learned:
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
def fitted_draws(region: str, draws: int) -> Fitted:
    """What was learned, as so many draws."""
    return load_fitted(region).draws(draws)


@lru_cache(maxsize=16)
def links_in(region: str, draws: int, setting: str) -> Array:
    """(D, A) links of the fit as they are in a setting."""
    return fitted_draws(region, draws).link_in(setting)


# Few: 5 MB each with 500 draws, 19 MB with 2000, and made again in some milliseconds.
@lru_cache(maxsize=4)
def learned(region: str, complaint: tuple[str, ...], setting: str, draws: int) -> Learned:
    """What these records share; the arrays are not to be written to."""
    laid, fitted = layout(region, complaint), fitted_draws(region, draws)
    arcs = links_in(region, draws, setting)
    link = _link_rows(laid, arcs, np.arange(laid.structure.link_count))
    leak = np.ascontiguousarray(fitted.leak.T[laid.rows])
    spread = {
        "rho_structure": fitted.rho_s[:, laid.family_rows],
        "rho_mechanism": fitted.rho_m[:, laid.family_rows],
    }
    fixed = unstudied(laid)
    means = {name: value.mean(axis=0, keepdims=True) for name, value in spread.items()}
    return Learned(
        fitted=fitted,
        arcs=arcs,
        link=link,
        leak=leak,
        mean_link=link.mean(axis=1),
        mean_leak=leak.mean(axis=1),
        rest={**fixed, **spread},
        mean_rest={**fixed, **means},
    )


def drawn(laid: Layout, known: Learned, before: Before, rows: NDArray[np.intp], seed: int) -> Drawn:
    """Parameters of a record on which the readings of these rows of the fit were seen.

    They get the effect of one more study, drawn by `seed`.
    """
    study = known.fitted.one_more_study(known.arcs, seed, rows)
    readings, columns = laid.of_rows(rows)
    link, leak = known.link.copy(), known.leak.copy()
    link[columns] = _link_rows(laid, study.link, columns)
    leak[readings] = study.leak.T[laid.rows[readings]]
    mean_link, mean_leak = known.mean_link.copy(), known.mean_leak.copy()
    mean_link[columns] = link[columns].mean(axis=1)
    mean_leak[readings] = leak[readings].mean(axis=1)
    return Drawn(
        each=engine.Parameters(prior=before.prior, link=link.T, leak=leak.T, **known.rest),
        mean=engine.Parameters(
            prior=before.mean_prior,
            link=mean_link[None],
            leak=mean_leak[None],
            **known.mean_rest,
        ),
    )


def _link_rows(laid: Layout, arcs: Array, columns: NDArray[np.intp]) -> Array:
    """(n, D) some links of the network, from those of the fit (D, A); silent ones are nought."""
    found = np.ascontiguousarray(arcs.T[laid.arcs[columns]])
    found[laid.silent[columns]] = 0.0
    return found
