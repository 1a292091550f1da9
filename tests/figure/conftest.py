"""The committed atlas, read once."""

from __future__ import annotations

from pathlib import Path

import pytest

from sidewise.figure import Atlas, Choice, load_atlas

SHOULDER = Path(__file__).parents[2] / "src" / "sidewise" / "knowledge" / "shoulder"
ATLAS = SHOULDER / "atlas"


@pytest.fixture(scope="session")
def atlas() -> Atlas:
    """The atlas of the shoulder."""
    return load_atlas(ATLAS)


def every_choice(atlas: Atlas) -> list[Choice]:
    """Every posture of the atlas."""
    return [
        Choice(name.split(",")[0], at, at, hitching=name.endswith("hitching"))
        for name, ats in atlas.movements.items()
        for at in ats
    ]
