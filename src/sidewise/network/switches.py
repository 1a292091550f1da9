"""Which findings to write with a signed switch (see `problem`): worth it, and not too costly.

Switches shrink tables a hundredfold where readings have many parents, but the digits they lose add
up. So the loss is measured, on the record in hand, before they are used.
"""

from __future__ import annotations

from sidewise.network.evidence import Evidence
from sidewise.network.forms import Form, form_of
from sidewise.network.model import Network
from sidewise.network.problem import problem_of, widths

# Switches are tried when the plan without them has more table entries than this, taken when they
# save at least a third, and only while the answer keeps 16 - 6 digits.
CHEAP = 4000
WORTH = 0.67
MOST_DIGITS = 6.0


def switches(network: Network, evidence: Evidence) -> frozenset[int]:
    """Numbers of the readings to write with a switch: all that may be, the widest half, or none.

    The first choice that saves work and keeps its digits, in every row (of the draws: in the
    first; they differ little in this).
    """
    return choose_switches(form_of(problem_of(network, evidence)))[0]


def choose_switches(without: Form) -> tuple[frozenset[int], Form | None]:
    """The readings, and the form with them; none and None where the form `without` them is best."""
    network, evidence = without.problem.network, without.problem.evidence
    free = widths(network, evidence)
    if without.work < CHEAP or not free:
        return frozenset(), None
    rows = slice(0, 1 if network.draws > 1 else evidence.rows)
    widest = sorted(free, key=free.__getitem__, reverse=True)
    for count in dict.fromkeys((len(widest), -(-len(widest) // 2))):
        columns = frozenset(widest[:count])
        form = form_of(problem_of(network, evidence, columns))
        if form.work < WORTH * without.work and form.digits_lost(rows) < MOST_DIGITS:
            return frozenset(evidence.readings[c] for c in columns), form
    return frozenset(), None
