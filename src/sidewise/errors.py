"""The one family of errors meant for people, and the warnings that travel with results.

A `UserError` is shown without a traceback and ends a command with exit status 2. Anything else
that escapes is a bug and keeps its traceback.
"""

from __future__ import annotations

from typing import Any


class UserError(Exception):
    """Input from a person that cannot be used.

    Four parts: `where` it was, what was `got`, what was `expected`, and what to `do`.
    """

    def __init__(self, where: str, got: object, expected: str, do: str = "") -> None:
        self.where = where
        self.got = got
        self.expected = expected
        self.do = do
        super().__init__(self.message)

    @property
    def message(self) -> str:
        """The text shown: where, got, expected, and on a second line what to do."""
        first = f"{self.where}: got {short_text(self.got)}, expected {self.expected}."
        return f"{first}\n{self.do}" if self.do else first

    def __reduce__(self) -> tuple[Any, ...]:
        # From its parts: an error that travels between processes keeps them.
        return type(self), (self.where, self.got, self.expected, self.do)

    def inside(self, place: str) -> UserError:
        """The same error seen from the layer above: `place` is put before `where`."""
        joiner = "" if self.where.startswith("[") else "."
        where = f"{place}{joiner}{self.where}" if self.where else place
        return UserError(where, self.got, self.expected, self.do)


class UserErrors(UserError):
    """Several errors in one input, shown together; nothing is stored."""

    LIMIT = 20

    def __init__(self, errors: list[UserError]) -> None:
        self.errors = errors
        first = errors[0]
        super().__init__(first.where, first.got, first.expected, first.do)

    def __reduce__(self) -> tuple[Any, ...]:
        return type(self), (self.errors,)

    @property
    def message(self) -> str:
        """Every error, at most `LIMIT` of them, then how many more there are."""
        lines = [error.message for error in self.errors[: self.LIMIT]]
        more = len(self.errors) - self.LIMIT
        if more > 0:
            lines.append(f"... and {more} more.")
        return "\n".join(lines)


def short_text(value: object) -> str:
    """A short printable form of the value received: one line, at most 60 characters."""
    if value is None:
        return "nothing"
    text = value if isinstance(value, str) else repr(value)
    text = text if text.isprintable() else repr(text)[1:-1]
    text = text if len(text) <= 60 else text[:57] + "..."
    return f'"{text}"' if isinstance(value, str) else text


class Caution(UserWarning):
    """Computed, but take care: carried in results as text, never silenced."""
