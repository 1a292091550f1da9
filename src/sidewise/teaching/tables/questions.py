"""What is asked and never guessed: an error that an answer to one option takes away."""

from __future__ import annotations

from typing import Any

from sidewise.errors import UserError


class SheetQuestion(UserError):
    """Something that only a person can say.

    `option` is the option of `sidewise marks` that says it, without its dashes and with underscores
    (`ratings_from`); `answers` are those it takes, empty where it takes words.
    """

    def __init__(
        self, where: str, got: object, expected: str, do: str, option: str,
        answers: tuple[str, ...] = (),
    ) -> None:  # fmt: skip
        self.option = option
        self.answers = answers
        super().__init__(where, got, expected, do)

    def __reduce__(self) -> tuple[Any, ...]:
        parts = (self.where, self.got, self.expected, self.do, self.option, self.answers)
        return type(self), parts
