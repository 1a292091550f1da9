"""Which published error is taken, in which order, and what is said when it does not quite fit."""

from __future__ import annotations

import pytest

from sidewise.ground.interval import Z95
from sidewise.measure.norms.tables import MeasurementTables
from sidewise.measure.sides.errors_used import Wanted, error_for, instrument_disagreement


def _sem(
    tables: MeasurementTables, item: str, mode: str, instrument: str, examiners: str = "within"
) -> float:
    used = error_for(Wanted("angle", item, mode, instrument, examiners), tables)
    assert used
    return used.error.sem


@pytest.mark.parametrize(
    ("item", "mode", "instrument", "examiners", "sem"),
    [
        # de Winter 2004, two examiners, passive external rotation by inclinometer.
        ("external_rotation_at_side", "passive", "inclinometer", "between", 6.8),
        # Kolber 2011, active flexion, two examiners.
        ("flexion", "active", "inclinometer", "between", 3.4),
        # Dougherty 2015, passive flexion, one examiner.
        ("flexion", "passive", "inclinometer", "within", 12.3),
        # Tveita 2008, most movements, one examiner a week apart.
        ("external_rotation_at_side", "passive", "goniometer", "within", 5.4),
        # Mullaney 2010, two therapists, upper end of the range.
        ("external_rotation_at_side", "passive", "goniometer", "between", 9.0),
        # Terwee 2005, by eye: limits -46.7 to 41.5 of the difference between sides.
        ("flexion", "passive", "eye", "within", 15.9),
        # Kolber 2012, scaption.
        ("scaption", "active", "goniometer", "within", 2.9),
    ],
)  # fmt: skip
def test_error_taken(
    tables: MeasurementTables, item: str, mode: str, instrument: str, examiners: str, sem: float
) -> None:
    assert _sem(tables, item, mode, instrument, examiners) == sem


def test_by_eye_two_examiners_disagree_by_over_40_degrees(tables: MeasurementTables) -> None:
    used = error_for(Wanted("angle", "flexion", "passive", "eye", "between"), tables)
    assert used
    assert used.error.of_difference
    assert Z95 * 2**0.5 * used.error.sem > 40


def test_outlier_study_is_never_taken(tables: MeasurementTables) -> None:
    assert _sem(tables, "external_rotation_at_side", "passive", "inclinometer") < 31


def test_one_examiner_falls_back_on_two_and_says_so(tables: MeasurementTables) -> None:
    used = error_for(
        Wanted("angle", "external_rotation_at_side", "passive", "inclinometer"), tables
    )
    assert used
    assert "no figure for one examiner; that between two examiners is used" in used.cautions[0]


def test_pooled_figure_is_said(tables: MeasurementTables) -> None:
    used = error_for(Wanted("angle", "extension", "passive", "goniometer"), tables)
    assert used
    assert "pooled over movements" in used.cautions[0]


def test_inclinometer_stands_in_for_a_phone(tables: MeasurementTables) -> None:
    used = error_for(Wanted("angle", "flexion", "active", "phone", "between"), tables)
    assert used
    assert used.error.sem == 3.4
    assert "no usable figure for phone: that for inclinometer" in used.cautions[0]


def test_another_movement_is_the_last_resort_by_eye(tables: MeasurementTables) -> None:
    used = error_for(Wanted("angle", "extension", "active", "eye"), tables)
    assert used
    assert any("another movement" in caution for caution in used.cautions)


def test_instrument_without_any_figure_gives_none(tables: MeasurementTables) -> None:
    assert error_for(Wanted("length", "cross_body_adduction", "active", "tape"), tables) is None


@pytest.mark.parametrize(("own", "sem"), [(2.0, 23.0), (30.0, 30.0)])
def test_points_uncertainty_only_widens_a_photographs_error(
    tables: MeasurementTables, own: float, sem: float
) -> None:
    wanted = Wanted("angle", "abduction", "active", "photograph")
    used = error_for(wanted, tables, own_sd=own)
    assert used
    assert used.error.sem == sem


def test_percentage_error_is_taken_of_the_force(tables: MeasurementTables) -> None:
    used = error_for(Wanted("force", "abduction_strength", None, "dynamometer"), tables)
    assert used
    assert used.unit == "percent"
    assert used.scaled(50).sem == pytest.approx(50 * used.error.sem / 100)


def test_disagreement_between_instruments(tables: MeasurementTables) -> None:
    # Kolber 2012 and Mullaney 2010: up to 11 degrees; Kolber & Hanney 2012: up to 20.
    pair = ("goniometer", "inclinometer")
    limits = {
        item: row.needed("limits")
        for item in ("scaption", "flexion", "abduction")
        if (row := instrument_disagreement("angle", item, *pair, tables))
    }
    assert limits == {"scaption": 11, "flexion": 11, "abduction": 20}


def test_every_protocol_movement_has_an_error_with_every_instrument(
    tables: MeasurementTables,
) -> None:
    moves = ("flexion", "abduction", "scaption", "external_rotation_at_side", "extension",
             "external_rotation_at_90", "internal_rotation_at_90", "cross_body_adduction",
             "abduction_scapula_held")  # fmt: skip
    instruments = ("goniometer", "inclinometer", "phone", "photograph", "eye")
    found = [
        error_for(Wanted("angle", move, mode, instrument, examiners), tables)
        for move in moves for mode in ("active", "passive") for instrument in instruments
        for examiners in ("within", "between")
    ]  # fmt: skip
    assert len(found) == 180
    assert all(used and used.error.sem > 1 for used in found)
