"""What lies under a point, held against a second reading of the same paths and against anatomy."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sidewise.errors import UserError
from sidewise.figure import Atlas, compose, load_atlas, structures_at
from sidewise.figure.paths import distance, holds
from tests.figure import paths as oracle
from tests.figure.conftest import ATLAS

HANGING = load_atlas(ATLAS).half("front", load_atlas(ATLAS).rest)


def test_every_place_of_every_close_up_is_found_under_its_own_point(atlas: Atlas) -> None:
    swept = 0
    for view in ("right close-up front", "left close-up back", "left close-up side",
                 "right raised armpit"):  # fmt: skip
        for target in compose(atlas, view).targets:
            near = structures_at(atlas, view, target.x, target.y, kinds=("place",))
            assert (near[0].id, near[0].side, near[0].mm) == (target.place, target.side, 0.0)
            swept += 1
    assert swept == 37


def test_left_is_the_mirror_of_right(atlas: Atlas) -> None:
    right = structures_at(atlas, "front", -260, -1026)
    left = structures_at(atlas, "front", 260, -1026)
    assert [(n.kind, n.id, n.mm) for n in right if n.side == "right"] == [
        (n.kind, n.id, n.mm) for n in left if n.side == "left"
    ]
    assert len(right) > 8


def test_the_coracoid_lies_below_the_outer_clavicle_by_a_finger_or_two(atlas: Atlas) -> None:
    """Common practice, no source: it is felt about 2.5 cm below the outer third of the clavicle."""
    plate = {t.place: t for t in compose(atlas, "right close-up front").targets}
    at = plate["coracoid"]
    near = structures_at(atlas, "right close-up front", at.x, at.y, kinds=("landmark",))
    mm = {one.id: one.mm for one in near}
    assert mm["coracoid"] < 10
    clavicle = structures_at(
        atlas, "right close-up front", at.x, at.y, kinds=("landmark",), within_mm=80
    )
    (outer,) = [one for one in clavicle if one.id == "clavicle lateral"]
    assert 15 <= outer.mm <= 45


def test_under_the_deltoid_lies_the_humerus(atlas: Atlas) -> None:
    at = next(t for t in compose(atlas, "right side").targets if t.place == "deltoid")
    under = {one.id for one in structures_at(atlas, "right side", at.x, at.y) if one.mm == 0}
    assert {"deltoid", "humerus"} <= under


@given(st.integers(-500, 0), st.integers(-1700, 0))
@settings(max_examples=60, deadline=None)
def test_inside_and_distance_agree_with_another_reading(x: int, y: int) -> None:
    path = next(p for name, p, _ in HANGING.over if name == "humerus" and p)
    parts = oracle.polygons(path, steps=3)
    point = np.array([[x, y]], dtype=float)
    assert holds(path, x, y) == bool(oracle.contains(parts, point)[0])
    if not holds(path, x, y):
        # The oracle measures to corners, this to edges.
        assert distance(path, x, y) <= oracle.distance(parts, point)[0] + 1e-9


def test_unknown_views_and_kinds_are_refused(atlas: Atlas) -> None:
    with pytest.raises(UserError, match="expected one of front"):
        structures_at(atlas, "above", 0, 0)
    with pytest.raises(UserError, match="expected one of place"):
        structures_at(atlas, "front", 0, 0, kinds=("vessel",))


def test_a_path_of_other_commands_is_refused() -> None:
    with pytest.raises(ValueError, match="not a path of the atlas"):
        holds("M0 0 C1 1 2 2 3 3", 0, 0)
