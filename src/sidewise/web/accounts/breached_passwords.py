"""Passwords known from breaches: an optional sorted list on this machine is searched, nothing is
sent anywhere.

The list has one SHA-1 in upper-case hexadecimal a line, sorted, anything after a colon ignored.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

from django.conf import settings
from django.core.exceptions import ValidationError


class BreachedPasswordValidator:
    """Refuses a password that is in the list named by SIDEWISE_BREACHED_PASSWORDS."""

    def validate(self, password: str, user: object = None) -> None:
        """ValidationError when the list holds the password."""
        name = settings.BREACHED_PASSWORDS
        if name and listed(Path(name), hashlib.sha1(password.encode()).hexdigest().upper()):
            raise ValidationError("This password is in a list of stolen passwords. Choose another.")

    def get_help_text(self) -> str:
        """Shown beside the field."""
        return (
            "It must not be in the list of stolen passwords." if settings.BREACHED_PASSWORDS else ""
        )


def listed(path: Path, wanted: str) -> bool:
    """Binary search by byte offset: the list may be tens of gigabytes."""
    target = wanted.encode()
    with path.open("rb") as file:
        low, high = 0, path.stat().st_size
        while low < high:
            middle = (low + high) // 2
            file.seek(middle)
            if middle:
                file.readline()
            line = file.readline().split(b":")[0].strip()
            if line == target:
                return True
            if line and line < target:
                low = middle + 1
            else:
                high = middle
        file.seek(0)
        return file.readline().split(b":")[0].strip() == target
