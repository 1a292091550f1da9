"""`python -m tests.safe.fuzz [DOOR ...] [--runs N | --seconds N]`: status 1 if a door fails."""

from __future__ import annotations

import argparse
import json
import os
import sys
import tempfile
from dataclasses import asdict
from typing import Any


def main() -> int:
    """Fuzz the named doors, or all of them."""
    parser = argparse.ArgumentParser(prog="python -m tests.safe.fuzz", description=__doc__)
    parser.add_argument("doors", nargs="*", metavar="DOOR", help="all if none is named")
    parser.add_argument("--runs", type=int, default=-1, help="inputs for each door")
    parser.add_argument("--seconds", type=int, default=0, help="seconds for each door")
    parser.add_argument("--json", action="store_true", help="print what came out as JSON")
    parser.add_argument(
        "--examples",
        action="store_true",
        help="only the examples of each door, and what of the program they reach",
    )
    given = parser.parse_args()
    if given.runs < 0 and not given.seconds:
        given.seconds = 20
    with tempfile.TemporaryDirectory(prefix="home") as home:
        # Never the data of whoever runs it; and what the doors write goes with it.
        os.environ["SIDEWISE_HOME"] = tempfile.tempdir = home
        os.environ.pop("SIDEWISE_DATABASE_URL", None)
        return examples(given) if given.examples else fuzzed(given)


def chosen(given: argparse.Namespace) -> list[Any]:
    """The doors that were named."""
    from tests.safe.fuzz.doors import DOORS

    return [door for door in DOORS if not given.doors or door.name in given.doors]


def examples(given: argparse.Namespace) -> int:
    """Each door with its own examples, one line of JSON for each."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "sidewise.web.settings")
    import django

    django.setup()
    from tests.safe.fuzz.readers import at_work

    for door in chosen(given):
        print(json.dumps(asdict(at_work(door))), flush=True)
    return 0


def fuzzed(given: argparse.Namespace) -> int:
    """Each door with inputs that the fuzzer finds."""
    from tests.safe.fuzz import guided

    guided.instrumented()
    found = guided.run_all(chosen(given), runs=given.runs, seconds=given.seconds)
    for outcome in found:
        print(json.dumps(outcome.data()) if given.json else outcome.line())
    return int(any(outcome.failure for outcome in found))


if __name__ == "__main__":
    sys.exit(main())
