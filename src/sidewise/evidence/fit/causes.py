"""Which expected causes of a finding are links of their own, and which are left in its leak.

Almost anything that hurts can make almost any manoeuvre painful. A link for each would tie all
conditions of both sides together, say little that is known, and make the exact posterior slow. So
a reading keeps every cause that a study measured or that the sign defines, and the strongest
expected ones until it has MOST_CAUSES in all; weaker ones are part of the leak, which is fitted
to people who have them. A condition of the whole person is kept only by questions, because
through a sign of one side it would tie both sides together.
"""

from __future__ import annotations

from collections.abc import Sequence

from sidewise.evidence.conditions import Conditions
from sidewise.evidence.fit.links import JudgedLink

MOST_CAUSES = 4
WEAKEST = 0.3
"""An expected link below this does not get a link of its own (our judgement)."""
WEAKEST_BESIDE_DEFINITION = 0.15
"""The same beside a sign that defines a condition: its leak is set, not fitted, and so cannot take
up other causes. Marked wasting must not mean a nerve where a torn cuff would do."""


def main_causes(
    judged: Sequence[JudgedLink], measured: frozenset[int], conditions: Conditions, asked: bool
) -> list[JudgedLink]:
    """The judged links that are kept; `asked` if the reading is the answer to a question."""
    must = {conditions.columns[column][0] for column in measured}
    must |= {link.condition for link in judged if link.kind == "by definition"}
    defines = any(link.kind == "by definition" for link in judged)
    weakest = WEAKEST_BESIDE_DEFINITION if defines else WEAKEST
    strength: dict[str, float] = {}
    for link in judged:
        if link.condition and link.condition not in must:
            strength[link.condition] = max(link.guess, strength.get(link.condition, 0.0))
    order = {name: place for place, name in enumerate(conditions.names)}
    able = [
        name
        for name, guess in strength.items()
        if guess >= weakest and (asked or conditions.by_id[name].scope == "side")
    ]
    able.sort(key=lambda name: (-strength[name], order[name]))
    strongest = sorted(strength, key=lambda name: (-strength[name], order[name]))[:1]
    # No reading is left without any cause, however weak or far the only expected one is.
    kept = must | set(able[: max(MOST_CAUSES - len(must), 0)]) or set(strongest)
    return [link for link in judged if not link.condition or link.condition in kept]
