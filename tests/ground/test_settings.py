"""The clinical settings: one list, which everything else takes from here."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import get_args

from sidewise.ground.settings import SETTING_WORDS, SETTINGS, STANDS_IN, Setting

ROOT = Path(__file__).parents[2]
SCHEMA = ROOT / "docs" / "schema" / "sidewise-examination-1.json"
HOME = ROOT / "src" / "sidewise" / "ground" / "settings.py"


def test_each_setting_has_its_words() -> None:
    assert list(SETTING_WORDS) == list(get_args(Setting))
    assert len(set(SETTING_WORDS.values())) == len(SETTING_WORDS) == 9


def test_each_setting_has_figures_of_its_own_or_one_that_stands_in() -> None:
    assert set(SETTINGS) | set(STANDS_IN) == set(get_args(Setting))
    assert set(STANDS_IN.values()) <= set(SETTINGS)
    assert (len(SETTINGS), len(STANDS_IN)) == (4, 5)


def test_the_published_format_lists_the_same() -> None:
    listed = re.findall(r'"enum": \[([^\]]*)\]', SCHEMA.read_text())
    (settings,) = (json.loads(f"[{names}]") for names in listed if '"msk_clinic"' in names)
    assert settings == list(get_args(Setting))


def test_no_other_module_lists_them() -> None:
    paths = sorted((ROOT / "src" / "sidewise").rglob("*.py"))
    assert len(paths) > 250
    again = [path.name for path in paths if path != HOME and "msk_clinic" in path.read_text()]
    assert again == []
