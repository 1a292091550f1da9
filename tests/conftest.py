"""Shared by all tests: a quiet data folder, seeds that repeat, and small record builders."""

from __future__ import annotations

import os
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

# Before anything imports the web settings: tests never touch a person's own data folder.
if "PYTEST_XDIST_WORKER" in os.environ or "SIDEWISE_HOME" not in os.environ:
    # A worker inherits the folder of the run; in one of its own no other notes the audit's end.
    os.environ["SIDEWISE_HOME"] = tempfile.mkdtemp(prefix="sidewise-test-")
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "sidewise.web.settings")
# A distributed run says here how wide its own terminal is; the commands would break lines by it.
os.environ.pop("COLUMNS", None)

import pytest
from hypothesis import HealthCheck, settings

settings.register_profile(
    "fixed", derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("fixed")


@pytest.fixture(autouse=True)
def head_of_no_other_chain() -> None:
    """The head that one test's database left in the data folder says nothing about the next's."""
    (Path(os.environ["SIDEWISE_HOME"]) / "audit-head").unlink(missing_ok=True)


@pytest.fixture(autouse=True, scope="session")
def static_files_found_once() -> Iterator[None]:
    """Every client of a test builds its own handler; the files it serves are looked for once.

    Looking took five of the six milliseconds of a new client's first request.
    """
    from whitenoise.middleware import WhiteNoiseMiddleware

    found: dict[tuple[str | None, str | None], dict[str, Any]] = {}
    look = WhiteNoiseMiddleware.add_files_from_finders

    def look_once(self: Any) -> None:
        key = (self.static_root, self.static_prefix)
        if key not in found:
            look(self)
            found[key] = dict(self.files)
        self.files.update(found[key])

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(WhiteNoiseMiddleware, "add_files_from_finders", look_once)
        yield


@pytest.fixture(autouse=True)
def numpy_afterwards() -> Iterator[None]:
    """Compiled sums, where a test turned them on, are not left on for the next."""
    yield
    compiled = sys.modules.get("sidewise.network.compiled.turned_on")
    if compiled is not None:
        compiled.turn_on(False)


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    """Of a distributed run: a failure, and what took a minute, is named when it happens.

    A run that is ended from outside prints no summary, so that its failures would stay unnamed.
    """
    if not hasattr(report, "node"):  # In a worker, or a run of one process, which ends by itself.
        return
    if report.failed:
        print(f"\nFAILED {report.nodeid} ({report.when})", flush=True)
    if report.duration > 60:
        print(f"\n{report.duration:.0f} s {report.nodeid} ({report.when})", flush=True)
