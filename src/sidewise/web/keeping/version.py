"""The page that says what runs here: program, knowledge, formats, and what is new."""

from __future__ import annotations

from dataclasses import dataclass

from django.db import connection
from django.db.migrations.recorder import MigrationRecorder
from django.http import HttpResponse
from django.views.decorators.http import require_safe

from sidewise import __version__
from sidewise.ground.language import offered_languages
from sidewise.ground.version import newest_changes
from sidewise.knowledge.region import Region
from sidewise.note.provenance import fit_version
from sidewise.record.model import FORMAT
from sidewise.regions import every_region
from sidewise.web.accounts.permissions import SignedInRequest
from sidewise.web.audit.watch import shows_no_record
from sidewise.web.keeping.backup import FORMAT as BACKUP_FORMAT
from sidewise.web.pages import show


@dataclass(frozen=True, slots=True)
class Knowledge:
    """One region as it stands here."""

    label: str
    knowledge: str
    fit: str


@dataclass(frozen=True, slots=True)
class VersionPage:
    """What the page is given."""

    version: str
    """Of the program."""
    regions: tuple[Knowledge, ...]
    """Each region with the hash of its files and of its fit."""
    formats: tuple[str, ...]
    """Of the records and of the backups written here."""
    shape: str
    """The newest change to the database's shape."""
    languages: tuple[str, ...]
    """With the caution that belongs to each."""
    changes: tuple[tuple[str, tuple[str, ...]], ...]
    """What is new, by heading."""


@require_safe
@shows_no_record
def show_version(request: SignedInRequest) -> HttpResponse:
    """What runs here, for whoever signs in."""
    page = VersionPage(
        __version__, tuple(map(_knowledge, every_region())), (FORMAT, BACKUP_FORMAT), _shape(),
        tuple(own for _, own in offered_languages()), newest_changes(),
    )  # fmt: skip
    return show(request, "keeping/version.html", page)


def _knowledge(region: Region) -> Knowledge:
    return Knowledge(region.label, region.fingerprint[:12], fit_version(region))


def _shape() -> str:
    newest = MigrationRecorder(connection).migration_qs.order_by("-applied").first()
    return f"{newest.app} {newest.name}" if newest else ""
