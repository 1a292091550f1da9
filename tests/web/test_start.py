"""What a worker loads before it answers: each start, and each worker killed, pays for it."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

HEAVY = ("scipy.stats", "scipy.optimize", "pandas", "pyarrow", "statsmodels", "matplotlib",
         "ortools", "fsrs", "numba", "openpyxl", "yaml")  # fmt: skip
CODE = f"""
import sys, django
django.setup()
import sidewise.web.urls
print(*(name for name in {HEAVY!r} if name in sys.modules))
"""


def test_the_pages_start_without_what_only_some_answers_need(tmp_path: Path) -> None:
    home = tmp_path / "home"
    home.mkdir()
    settings = {"SIDEWISE_HOME": str(home), "DJANGO_SETTINGS_MODULE": "sidewise.web.settings"}
    done = subprocess.run([sys.executable, "-c", CODE], check=True, capture_output=True, text=True,
                          env={**os.environ, **settings})  # fmt: skip
    assert done.stdout.split() == []
