"""A database of the version before opens in this one, with every row as it was."""

from __future__ import annotations

import pytest
from django.core.management import call_command
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from sidewise.web.examinations.models import HeldEntry
from sidewise.web.keeping import guard

BEFORE = [("examinations", "0001_initial"), ("keeping", "0001_safekeeping")]
"""Where the held entries belonged to the keeping app (version 0.1.0)."""


@pytest.fixture
def version_before(transactional_db):
    """The models as they were; afterwards the database is as new as before."""
    MigrationExecutor(connection).migrate(BEFORE)
    yield MigrationExecutor(connection).loader.project_state(BEFORE).apps
    call_command("migrate", verbosity=0)


@pytest.mark.django_db(transaction=True)
def test_held_entries_of_the_version_before_are_still_there(cast, version_before):
    old = version_before.get_model("keeping", "HeldEntry")
    assert old._meta.db_table == "keeping_heldentry"
    written = old.objects.create(
        examination_id=cast.examination.pk, entry_id="late", by_id=cast.owner.pk,
        entry={"id": "late", "deed": {"do": "line", "text": "Neer R neg"}}, why="It was late.",
    )  # fmt: skip
    call_command("migrate", verbosity=0)
    (kept,) = HeldEntry.objects.all()
    same = ("pk", "examination_id", "entry_id", "by_id", "entry", "why", "received_at",
            "settled_by", "settled_at", "settled_how")  # fmt: skip
    assert {n: getattr(kept, n) for n in same} == {n: getattr(written, n) for n in same}
    assert list(cast.examination.held.all()) == [kept]
    assert guard.missing() == []


@pytest.mark.django_db(transaction=True)
def test_the_held_entries_move_without_a_statement_to_the_database(version_before):
    loader = MigrationExecutor(connection).loader
    moves = [("keeping", "0002_held_entry_moves_out"), ("examinations", "0002_held_entry")]
    assert _statements(loader, moves) == []
    assert len(_statements(loader, [("keeping", "0001_safekeeping")])) >= 3


def _statements(loader, names):
    plan = [(loader.get_migration(*name), False) for name in names]
    lines = (line.strip() for line in loader.collect_sql(plan))
    return [line for line in lines if line and not line.startswith("--")
            and line not in ("BEGIN;", "COMMIT;")]  # fmt: skip
