"""The same network in pyAgrum, a general-purpose exact inference library (rho zero only)."""

from __future__ import annotations

import itertools
import warnings

import numpy as np

from sidewise.network import Network

with warnings.catch_warnings():
    # Its extension module warns while it is being loaded; turned into an error there, the warning
    # takes the interpreter down.
    warnings.simplefilter("ignore")
    import pyagrum as gum

ENGINES = {
    "ShaferShenoy": gum.ShaferShenoyInference,
    "LazyPropagation": gum.LazyPropagation,
    "VariableElimination": gum.VariableElimination,
}


def bayes_net(network: Network) -> gum.BayesNet:
    """Tables written out by hand, so that neither library's noisy-OR convention matters."""
    structure, p = network.structure, network.parameters
    net = gum.BayesNet()
    for v, variable in enumerate(structure.variables):
        net.add(gum.LabelizedVariable(variable.name, "", variable.levels))
        net.cpt(variable.name).fillWith(p.prior[0, v, : variable.levels].tolist())
    for r, reading in enumerate(structure.readings):
        net.add(gum.LabelizedVariable(reading.name, "", 2))
        for parent in reading.parents:
            net.addArc(parent, reading.name)
        columns = [structure.link_columns(r, i) for i in range(len(reading.parents))]
        _fill(net, reading.name, reading.parents, structure, p.link[0], columns, p.leak[0, r])
    for c, complaint in enumerate(structure.complaints):
        net.add(gum.LabelizedVariable(complaint.name, "", 2))
        for parent in complaint.parents:
            net.addArc(parent, complaint.name)
        columns = [structure.complaint_columns(c, i) for i in range(len(complaint.parents))]
        links, leak = p.complaint_link[0], p.complaint_leak[0, c]
        _fill(net, complaint.name, complaint.parents, structure, links, columns, leak)
    return net


def _fill(net, name, parents, structure, links, columns, leak) -> None:
    sizes = [structure.levels[structure.variable_index[parent]] for parent in parents]
    for state in itertools.product(*(range(n) for n in sizes)):
        absent = 1 - leak
        for level, column in zip(state, columns, strict=True):
            if level:
                absent *= 1 - links[column.start + level - 1]
        key = dict(zip(parents, state, strict=True))
        if key:
            net.cpt(name)[key] = [absent, 1 - absent]
        else:
            net.cpt(name).fillWith([absent, 1 - absent])


def infer(net: gum.BayesNet, findings: dict, engine: str = "ShaferShenoy"):
    """Inference with evidence set and run; plain findings by name, soft ones as pairs."""
    inference = ENGINES[engine](net)
    inference.setEvidence(
        {n: (int(v) if isinstance(v, bool) else list(v)) for n, v in findings.items()}
    )
    inference.makeInference()
    return inference


def marginals(network: Network, net: gum.BayesNet, findings: dict, engine: str = "ShaferShenoy"):
    """(V, Lmax) posterior of every condition; complaints are set to present."""
    complaints = {c.name: True for c in network.structure.complaints}
    inference = infer(net, {**findings, **complaints}, engine)
    out = np.zeros((len(network.structure.variables), max(network.structure.levels)))
    for v, variable in enumerate(network.structure.variables):
        out[v, : variable.levels] = inference.posterior(variable.name).toarray()
    return out
