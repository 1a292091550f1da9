"""Expected figures in closed form against simulated people and brute force."""

from itertools import product

import numpy as np
import pytest

from sidewise.errors import UserError
from sidewise.evidence.fit.case_mix import case_mixes_of
from sidewise.evidence.fit.expected_shares import positive_share, positive_share_given_complaint
from sidewise.evidence.pretest.person import Case, pretest_figures
from sidewise.evidence.pretest.selection import after_complaint, before_complaint
from tests.shoulder import CONDITIONS, SHOULDER

REGION = SHOULDER
MIX = case_mixes_of(REGION).mix("surgical")
PARTS = tuple(CONDITIONS.slices.values())
PEOPLE = 200_000


def drawn_people(rng):
    """(PEOPLE, C) one person's levels per row, conditions independent, from the surgical mix."""
    found = np.zeros((PEOPLE, len(MIX)))
    for part in PARTS:
        shares = np.concatenate([[1 - MIX[part].sum()], MIX[part]])
        level = rng.choice(len(shares), size=PEOPLE, p=shares)
        present = level > 0
        found[np.flatnonzero(present), part.start + level[present] - 1] = 1
    return found


def seen_in(people, leak, links, rng):
    """Whether each person shows the finding: the leak and every condition get their own chance."""
    fires = rng.random(people.shape) < people * links
    return fires.any(axis=1) | (rng.random(len(people)) < leak)


@pytest.fixture(scope="module")
def simulated():
    rng = np.random.default_rng(20)
    people = drawn_people(rng)
    links = rng.uniform(0, 0.9, len(MIX)) * (rng.random(len(MIX)) < 0.5)
    return people, 0.07, links, seen_in(people, 0.07, links, rng), rng


def tolerance(share, count):
    # Four standard errors of a share in `count` simulated people.
    return 4 * np.sqrt(share * (1 - share) / count)


def test_sensitivity_of_a_set_of_levels_equals_that_of_simulated_people(simulated):
    people, leak, links, seen, _ = simulated
    with_tear = people[:, 1] + people[:, 2] > 0
    levels = MIX.copy()
    levels[:3] = np.array([0, MIX[1], MIX[2]]) / (MIX[1] + MIX[2])
    found = positive_share(np.array([leak]), links[None], levels[None], PARTS)[0, 0]
    assert found == pytest.approx(seen[with_tear].mean(), abs=tolerance(found, with_tear.sum()))


def test_specificity_outside_those_levels_equals_that_of_simulated_people(simulated):
    people, leak, links, seen, _ = simulated
    without = people[:, 1] + people[:, 2] == 0
    levels = MIX.copy()
    levels[:3] = np.array([MIX[0], 0, 0]) / (1 - MIX[1] - MIX[2])
    found = positive_share(np.array([leak]), links[None], levels[None], PARTS)[0, 0]
    assert found == pytest.approx(seen[without].mean(), abs=tolerance(found, without.sum()))


def test_figures_among_those_who_complain_equal_those_of_simulated_people(simulated):
    people, leak, links, seen, rng = simulated
    complaint = np.array(CONDITIONS.complaint_links)
    hurts = seen_in(people, CONDITIONS.other_cause.leak, complaint, rng)
    found = positive_share_given_complaint(np.array([leak]), links[None], MIX[None], CONDITIONS)[
        0, 0
    ]
    assert found == pytest.approx(seen[hurts].mean(), abs=tolerance(found, hurts.sum()))


def test_link_of_a_simple_condition_is_one_minus_the_negative_ratio():
    # One condition with two states and nothing else in the room: link = 1 - LR-.
    leak, link = 0.2, 0.6
    levels = np.zeros((2, len(MIX)))
    column = CONDITIONS.column_index["acj", 1]
    levels[0, column] = 1
    links = np.zeros((1, len(MIX)))
    links[0, column] = link
    sens, false = positive_share(np.array([leak]), links, levels, PARTS)[0]
    assert 1 - (1 - sens) / (1 - false) == pytest.approx(link)


@pytest.mark.parametrize("sides", [1, 2])
def test_published_figures_come_back_once_the_complaint_is_known(sides):
    case = Case("primary", 55, "female", complaint_sides=sides)
    found = pretest_figures(REGION, case, 200, 3)
    back = after_complaint(found.before_draws, CONDITIONS, sides)
    np.testing.assert_allclose(back, found.complaint_draws, atol=1e-8)


def joint_states():
    """Every joint state of a few conditions of a side and of the person: names and levels."""
    chosen = ["cuff", "frozen", "polymyalgia", "inflammatory_arthritis"]
    sizes = [len(CONDITIONS.by_id[name].levels) for name in chosen]
    return chosen, list(product(*(range(size) for size in sizes)))


def test_two_complaints_agree_with_brute_force_over_all_states():
    p = np.zeros((1, len(MIX)))
    for name, shares in (("cuff", (0.2, 0.1, 0.15)), ("frozen", (0.1,)), ("polymyalgia", (0.05,)),
                         ("inflammatory_arthritis", (0.04,))):  # fmt: skip
        p[0, CONDITIONS.slices[name]] = shares
    link = np.array(CONDITIONS.complaint_links)
    chosen, states = joint_states()
    hit = np.zeros(len(MIX))
    total = 0.0
    for left, right in product(states, states):
        if left[2:] != right[2:]:
            continue
        weight, columns = 1.0, []
        for place, name in enumerate(chosen):
            part = CONDITIONS.slices[name]
            shares = np.concatenate([[1 - p[0, part].sum()], p[0, part]])
            sides = [left[place]] if place >= 2 else [left[place], right[place]]
            weight *= np.prod([shares[level] for level in sides])
            if left[place]:
                columns.append(part.start + left[place] - 1)
        for state in (left, right):
            quiet = 1 - CONDITIONS.other_cause.leak
            for place, name in enumerate(chosen):
                if state[place]:
                    quiet *= 1 - link[CONDITIONS.slices[name].start + state[place] - 1]
            weight *= 1 - quiet
        total += weight
        hit[columns] += weight
    np.testing.assert_allclose(after_complaint(p, CONDITIONS, 2)[0], hit / total, atol=1e-12)


def test_figures_that_leave_no_room_for_none_are_refused():
    with pytest.raises(UserError, match="sum to below 1"):
        before_complaint(np.full((1, len(MIX)), 0.5), CONDITIONS)


def test_three_complaining_sides_are_refused():
    with pytest.raises(UserError, match="1 or 2"):
        before_complaint(MIX[None], CONDITIONS, 3)
