"""Years: a bank of stations, stations that changed, and an earlier pass mark carried here."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

from sidewise.cli import app
from sidewise.errors import UserError
from sidewise.teaching.report.page import report_html
from sidewise.teaching.report.text import marks_text
from sidewise.teaching.sitting.options import SittingOptions
from sidewise.teaching.sitting.sitting import Sitting, analyse_sitting
from sidewise.teaching.sitting.years import bank_rows, beside_earlier
from sidewise.teaching.tables.marks_table import marks_from_frame
from sidewise.teaching.tables.station_bank import add_to_bank, read_bank

STATIONS = tuple(f"t{j}" for j in range(8))


def sitting(
    name: str, stations: tuple[str, ...], ease: dict[str, float], ability: float, seed: int,
    slip: float = 0.0,
) -> Sitting:  # fmt: skip
    """60 students; marks of station j = ease + ability + noise; `slip`: SD of each station's own
    change at this sitting."""
    rng = np.random.default_rng(seed)
    level = ability + rng.normal(0, 6, 60)
    rows = []
    for station in stations:
        own = ease[station] + rng.normal(0, slip)
        shown = level + rng.normal(0, 6, 60)
        rating = np.digitize(shown + rng.normal(0, 4, 60), [-12, -5, 4, 13])
        mark = np.clip(own + shown + rng.normal(0, 5, 60), 0, 100)
        rows += [(name, f"{name}{i}", station, "E1", m, 100, float(r))
                 for i, (m, r) in enumerate(zip(mark, rating, strict=True))]  # fmt: skip
    columns = ["sitting", "student", "station", "examiner", "mark", "maximum", "global_rating"]
    frame = pd.DataFrame(rows, columns=columns)
    frame["global_rating"] = frame["global_rating"].map(
        dict(enumerate(["fail", "borderline", "pass", "good", "excellent"]))
    )
    return analyse_sitting(marks_from_frame(frame), SittingOptions(draws=0))


@pytest.fixture(scope="module")
def spring() -> Sitting:
    return sitting("spring", STATIONS, dict.fromkeys(STATIONS, 60.0), 0.0, 1)


@pytest.fixture(scope="module")
def autumn() -> Sitting:
    """Five old stations and three new, ten points harder; students four points better."""
    new = ("u1", "u2", "u3")
    ease = dict.fromkeys(STATIONS, 60.0) | dict.fromkeys(new, 50.0)
    return sitting("autumn", (*STATIONS[:5], *new), ease, 4.0, 2)


def test_by_hand(spring: Sitting, autumn: Sitting) -> None:
    found = beside_earlier(autumn, bank_rows(spring)).marks[0]
    now, then = (e.table.score.mean(axis=0) for e in (autumn, spring))
    changes = now[:5] - then[:5]
    assert found.ability == pytest.approx(changes.mean())
    assert found.easier == pytest.approx(now.mean() - then.mean() - changes.mean())
    assert found.mark.value == pytest.approx(spring.mark.value + found.easier)
    assert found.mark.se == pytest.approx(changes.std(ddof=1) / 5**0.5)


def test_harder_stations_carry_a_lower_mark(spring: Sitting, autumn: Sitting) -> None:
    found = beside_earlier(autumn, bank_rows(spring)).marks[0]
    # Three of eight stations are ten points harder: 3.75 points of the total.
    assert found.mark.low is not None
    assert found.mark.high is not None
    assert found.mark.low <= spring.mark.value - 3.75 <= found.mark.high
    assert "stations as a whole are" in found.sentence


def test_the_same_sitting_again_carries_its_own_mark(spring: Sitting) -> None:
    rows = [replace(r, sitting="before") for r in bank_rows(spring)]
    found = beside_earlier(spring, rows)
    assert found.marks[0].mark.value == pytest.approx(spring.mark.value)
    assert found.marks[0].ability == pytest.approx(0)
    assert not any(s.apart for s in found.stations)


def test_an_anchor_that_changed_itself_is_left_out(spring: Sitting) -> None:
    ease = dict.fromkeys(STATIONS, 60.0) | {"t2": 80.0}
    known = sitting("known", STATIONS, ease, 0.0, 5)
    found = beside_earlier(known, bank_rows(spring))
    assert found.marks[0].left_out == ("t2",)
    assert [s.station for s in found.stations if s.apart] == ["t2"]
    assert found.marks[0].easier == pytest.approx(20 / 8, abs=1.5)


def test_fewer_than_three_common_stations_carry_nothing(spring: Sitting) -> None:
    two = ("t0", "t1", "u1", "u2", "u3")
    other = sitting("other", two, dict.fromkeys(two, 60.0), 0.0, 6)
    found = beside_earlier(other, bank_rows(spring))
    assert found.marks == ()
    assert len(found.stations) == 2
    assert "No earlier pass mark can be carried" in marks_text(other, found)


@pytest.mark.long
def test_limits_cover_the_mark_for_equal_ability() -> None:
    # 80 pairs; each station's own change between sittings has SD 3 (examiners, knowledge of it).
    # The mark that asks the same ability: then + mean ease now - mean ease then. Five anchors, t
    # with 4 degrees of freedom: at least 95 - 7 of 100 (3 standard errors of 2.4).
    inside = []
    new = ("u1", "u2", "u3")
    for seed in range(80):
        ease = dict.fromkeys(STATIONS, 60.0) | dict.fromkeys(new, 52.0)
        one = sitting("one", STATIONS, ease, 0.0, 10_000 + seed)
        two = sitting("two", (*STATIONS[:5], *new), ease, 3.0, 20_000 + seed, slip=3.0)
        found = beside_earlier(two, bank_rows(one)).marks[0].mark
        rng = np.random.default_rng(20_000 + seed)
        rng.normal(0, 6, 60)
        own = []
        for station in (*STATIONS[:5], *new):
            own.append(ease[station] + rng.normal(0, 3.0))
            for _ in range(3):
                rng.normal(0, 1, 60)
        true = one.mark.value + np.mean(own) - 60.0
        assert found.low is not None
        assert found.high is not None
        inside.append(found.low <= true <= found.high)
    assert np.mean(inside) >= 0.88


# ---------------------------------------------------------------- the bank


def test_a_bank_is_read_as_it_was_written(spring: Sitting, tmp_path: Path) -> None:
    path = tmp_path / "bank.csv"
    assert read_bank(path) == ()
    assert add_to_bank(path, bank_rows(spring)) == 8
    again = read_bank(path)
    assert [r.station for r in again] == list(STATIONS)
    assert [r.mean for r in again] == pytest.approx([r.mean for r in bank_rows(spring)], rel=1e-5)


def test_a_sitting_is_kept_once(spring: Sitting, tmp_path: Path) -> None:
    path = tmp_path / "bank.csv"
    add_to_bank(path, bank_rows(spring))
    before = path.read_text(encoding="utf-8")
    with pytest.raises(UserError, match="a sitting once"):
        add_to_bank(path, bank_rows(spring))
    assert path.read_text(encoding="utf-8") == before


@pytest.mark.parametrize(
    ("spoilt", "said"),
    [("a,b\n1,2\n", "row 1"), ("HEAD\nspring,t0,60\n", "row 2"),
     ("HEAD\nspring,t0,sixty,1,1,1,1,1,1,1,1,1,1\n", "row 2, students")],
)  # fmt: skip
def test_a_spoilt_bank_is_named_by_row(tmp_path: Path, spoilt: str, said: str) -> None:
    from sidewise.teaching.tables.station_bank import NAMES

    path = tmp_path / "bank.csv"
    path.write_text(spoilt.replace("HEAD", ",".join(NAMES)), encoding="utf-8")
    with pytest.raises(UserError, match=said):
        read_bank(path)


def test_a_sitting_without_a_name_is_refused(result: Sitting) -> None:
    nameless = replace(result, scores=result.scores.assign(sitting="1"))
    with pytest.raises(UserError, match="column sitting"):
        bank_rows(nameless)


def test_years_stand_on_the_page(spring: Sitting, autumn: Sitting) -> None:
    page = report_html(autumn, years=beside_earlier(autumn, bank_rows(spring)))
    assert "<h2>Years</h2>" in page
    assert "set at spring is worth" in page


def test_the_command_keeps_and_compares(tmp_path: Path) -> None:
    from tests.teaching.conftest import EXAMPLES

    week, bank = str(EXAMPLES / "teaching_week_marks.csv"), str(tmp_path / "bank.csv")
    first = CliRunner().invoke(app, ["marks", week, "--bank", bank, "--keep-in-bank"])
    assert first.exit_code == 0
    assert len(read_bank(Path(bank))) == 8
    other = str(EXAMPLES / "telling" / "numbered_from_one_marks.csv")
    again = CliRunner().invoke(app, ["marks", other, "--ratings-from", "1", "--bank", bank])
    assert "Years" in again.output
