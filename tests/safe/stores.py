"""A store of its own, SQLite in a folder or PostgreSQL, used through fresh processes.

What must survive a crash, a restore or a change of machine is tested from outside the process.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.setup_postgres import Cluster

ROOT = Path(__file__).parents[2]
# The sources beside these tests, also in a copy of the tree (`make mutate`).
SOURCES = f"{ROOT / 'src'}{os.pathsep}{ROOT}"
CLI = "from sidewise.cli import main; main()"


@dataclass
class Store:
    """A data folder and a database."""

    home: Path
    url: str = ""
    cluster: Cluster | None = None
    settings: dict[str, str] = field(default_factory=dict)

    @property
    def environment(self) -> dict[str, str]:
        """What a process needs to use this store."""
        kept = {k: v for k, v in os.environ.items() if not k.startswith("SIDEWISE_")}
        return {
            **kept, "SIDEWISE_HOME": str(self.home), "SIDEWISE_DATABASE_URL": self.url,
            "DJANGO_SETTINGS_MODULE": "sidewise.web.settings", "PYTHONPATH": SOURCES,
            **self.settings,
        }  # fmt: skip

    def sibling(self, name: str) -> Store:
        """An empty store of the same kind."""
        home = self.home.with_name(f"{self.home.name}-{name}")
        home.mkdir()
        if self.cluster is None:
            return Store(home, settings=self.settings)
        database = f"d{abs(hash((self.url, name)))}"
        return Store(home, self.cluster.create(database), self.cluster, self.settings)

    def step(self, name: str, **values: Any) -> Any:
        """Run one of the steps below in a process of its own; its answer."""
        done = subprocess.run(
            [sys.executable, "-m", "tests.safe.steps", name, json.dumps(values)],
            env=self.environment, capture_output=True, text=True, check=False, cwd=ROOT,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr[-3000:]
        return json.loads(done.stdout.splitlines()[-1])

    def command(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        """Run `sidewise` itself."""
        return subprocess.run(
            [sys.executable, "-c", CLI, *arguments],
            env=self.environment, capture_output=True, text=True, check=False, cwd=ROOT,
        )  # fmt: skip
