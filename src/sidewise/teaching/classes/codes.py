"""Codes by which a student joins a class: read aloud or from a slip, used once."""

from __future__ import annotations

import secrets

from sidewise.errors import UserError

LETTERS = "ABCDEFGHJKMNPQRSTVWXYZ23456789"
"""Without those that are taken for another on a slip: I, L, O, U, 0, 1 (our judgement)."""
LENGTH = 12
"""Twelve of thirty letters are 58 bits: guessing at one door is hopeless before the code ends."""
PART = 4
MOST = 60
"""Codes made at one time; a class is seldom larger (our judgement)."""


def join_codes(count: int) -> tuple[str, ...]:
    """So many fresh codes, as they are printed; UserError for less than 1 or more than 60."""
    if not 1 <= count <= MOST:
        raise UserError("codes", count, f"a number from 1 to {MOST}",
                        "Make them in several goes for a larger class.")  # fmt: skip
    return tuple(_printed(_letters()) for _ in range(count))


def plain_code(typed: str) -> str:
    """A code as it was typed, without the marks between its parts and in one case."""
    return "".join(letter for letter in typed.upper() if letter.isalnum())


def _letters() -> str:
    return "".join(secrets.choice(LETTERS) for _ in range(LENGTH))


def _printed(letters: str) -> str:
    return "-".join(letters[start : start + PART] for start in range(0, LENGTH, PART))
