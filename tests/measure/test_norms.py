"""What is usual: rows of the published tables, ages, sides, percentiles."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sidewise.measure.norms.norms import compare_total, compare_with_norms, norm_position, norms_for
from sidewise.measure.norms.tables import MeasurementRow, MeasurementTables
from sidewise.measure.sides.readings import Measurement
from sidewise.protocol import Protocol
from tests.measure.cast import angle, visit
from tests.shoulder import TABLES


def _angle(item: str, degrees: float, mode: str = "active", side: str = "left") -> Measurement:
    return Measurement(item, item, side, mode, "angle", degrees, "goniometer", "E1")


def _row(tables: MeasurementTables, item: str, author: str, **cells: str) -> MeasurementRow:
    return next(
        row for row in tables.usable("norms")
        if row.text("item") == item and row.source.startswith(author)
        and all(row.text(name) == cell for name, cell in cells.items())
    )  # fmt: skip


# Boone DC, Azen SP, J Bone Joint Surg Am 1979; 61:756-759, men of 20 to 54 (recalled).
@pytest.mark.parametrize(
    ("item", "mean", "sd"),
    [("flexion", 165.0, 5.0), ("extension", 57.3, 8.1), ("abduction", 182.7, 9.0),
     ("internal_rotation_at_90", 67.1, 4.1), ("external_rotation_at_90", 99.6, 7.6)],
)  # fmt: skip
def test_boone_and_azen_two_sds_below(
    tables: MeasurementTables, item: str, mean: float, sd: float
) -> None:
    row = _row(tables, item, "Boone", age_low="20")
    found = norm_position(mean - 2 * sd, row)
    assert found.z == pytest.approx(-2)
    assert found.percentile == pytest.approx(2.275, abs=0.001)  # Standard normal table.


# Bassey et al., Eur J Appl Physiol 1989; 58:353-360 (abstract): abduction, a whole population.
@pytest.mark.parametrize(
    ("age", "sex", "mean", "sd"),
    [
        (70, "male", 129, 14),
        (80, "male", 121, 19),
        (70, "female", 124, 19),
        (80, "female", 114, 22),
    ],
)
def test_bassey_by_age_and_sex(
    tables: MeasurementTables, age: int, sex: str, mean: float, sd: float
) -> None:
    found = [
        c for c in compare_with_norms(_angle("abduction", 100), age, sex, "right", tables) if c.sd
    ]
    assert [(c.usual, c.sd) for c in found] == [(mean, sd)]
    assert any("complaints not excluded" in caution for caution in found[0].cautions)


# Vairo et al. 2012, table 4: percentiles of men, dominant side, external rotation at the side.
@pytest.mark.parametrize(
    ("degrees", "percentile"), [(55, 5), (60, 10), (70, 25), (77, 50), (85, 75), (92, 95)]
)
def test_printed_percentiles_come_back(
    tables: MeasurementTables, degrees: float, percentile: float
) -> None:
    row = _row(tables, "external_rotation_at_side", "Vairo", sex="male", side="dominant")
    assert norm_position(degrees, row).percentile == pytest.approx(percentile)


def test_value_shared_by_two_percentiles_takes_their_middle(tables: MeasurementTables) -> None:
    row = _row(tables, "flexion", "Vairo", sex="female", side="dominant")
    assert norm_position(180, row).percentile == pytest.approx(92.5)  # 90th and 95th both read 180.


def test_beyond_the_outermost_percentile_only_the_direction_is_said(
    tables: MeasurementTables,
) -> None:
    row = _row(tables, "external_rotation_at_side", "Vairo", sex="male", side="dominant")
    assert norm_position(54, row).words == "below the 5th percentile"
    assert norm_position(93, row).words == "above the 95th percentile"


def test_distance_counts_from_the_stiff_end(tables: MeasurementTables) -> None:
    row = _row(tables, "cross_body_adduction", "Vairo", sex="male", side="dominant")
    assert norm_position(32, row).percentile == pytest.approx(5)
    assert norm_position(20, row).percentile == pytest.approx(95)


@given(st.floats(100, 200), st.floats(0, 50))
def test_percentile_rises_with_the_value(value: float, more: float) -> None:
    tables = TABLES
    for row in (
        _row(tables, "flexion", "Boone", age_low="20"),
        _row(tables, "flexion", "Vairo", sex="male", side="dominant"),
    ):
        low, high = (
            norm_position(value, row).percentile,
            norm_position(value + more, row).percentile,
        )
        assert low is None or high is None or high >= low


def test_every_usable_norm_gives_a_standing(tables: MeasurementTables) -> None:
    rows = tables.usable("norms")
    assert len(rows) == 127
    assert all(norm_position(100.0, row).words for row in rows)


@pytest.mark.parametrize(("age", "inside"), [(19, False), (20, True), (54, True), (55, False)])
def test_nothing_is_extrapolated_beyond_a_tables_ages(
    tables: MeasurementTables, age: int, inside: bool
) -> None:
    boone = [r for r in tables.norms if r.text("age_low") == "20" and "Boone" in r.source]
    rows = MeasurementTables(tuple(boone), (), (), (), ())
    found = compare_with_norms(_angle("flexion", 150), age, "male", "right", rows)
    assert [c.z is not None for c in found] == [inside]
    assert inside or "lies outside its ages (20 to 54)" in found[0].sentence


def test_age_not_recorded_is_said(tables: MeasurementTables) -> None:
    found = compare_with_norms(_angle("flexion", 150), None, "male", "right", tables)
    assert found
    assert all("age not recorded" in c.sentence for c in found)


def test_dominant_side_takes_its_own_row(tables: MeasurementTables) -> None:
    item = "internal_rotation_at_90"
    right, left = (
        next(c for c in compare_with_norms(_angle(item, 55, side=side), 19, "male", "right", tables)
             if "Vairo" in c.source and c.percentile)
        for side in ("right", "left")
    )  # fmt: skip
    assert right.usual == 55
    assert left.usual == 58


def test_several_tables_are_all_shown(protocol: Protocol) -> None:
    record = visit(angle("abduction", "left", 120, "active"), age=70)
    found = [c for c in norms_for(record, protocol, TABLES) if c.usual is not None]
    assert len({c.source for c in found}) >= 4
    assert all(c.mark for c in found)


def test_passive_reading_is_not_held_against_active_norms(protocol: Protocol) -> None:
    record = visit(angle("abduction", "left", 120, "passive"), age=70)
    assert not [c for c in norms_for(record, protocol, TABLES) if "Bassey" in c.source]


def test_constant_total_by_age_and_sex(tables: MeasurementTables) -> None:
    # Lopiz et al. 2024: men of 18 to 30, 99.2 (SD 3.0); women over 75, 75.3 (SD 8.8).
    for age, sex, mean, sd in ((25, "male", 99.2, 3.0), (80, "female", 75.3, 8.8)):
        found = compare_total("constant_total", mean - sd, age, sex, tables)
        assert [c.z for c in found if c.usual == mean] == [pytest.approx(-1)]


def test_total_of_a_record_is_compared_by_age(protocol: Protocol) -> None:
    (found,) = [
        c
        for c in norms_for(visit(scales={"constant_total": 60}), protocol, TABLES)
        if c.mark == "memory"
    ]
    assert (found.usual, found.item) == (84, "constant_total")  # Katolik 2005, women of 50 to 59.


def test_recalled_table_says_so(protocol: Protocol) -> None:
    record = visit(angle("flexion", "left", 120, "active"), age=40, sex="male")
    boone = [
        c for c in norms_for(record, protocol, TABLES) if "Boone" in c.source and c.z is not None
    ]
    assert [c.mark for c in boone] == ["memory"]
    assert "recalled, not read" in boone[0].cautions[0]
