"""Reads a line: findings where it is clear, questions where it is not, and what was not read."""

from __future__ import annotations

from sidewise.errors import UserError
from sidewise.knowledge.region import Region
from sidewise.record.line.lexer import split_sentences
from sidewise.record.line.result import LineReading, NotUnderstood, Question, Understood
from sidewise.record.line.sentence import read_sentence
from sidewise.record.line.words import line_words_of

LONGEST = 20_000
"""Characters in one text; dictation of a whole examination is well under this."""


def read_line(text: str, region: Region) -> LineReading:
    """What a typed or dictated line says, in the words of the region.

    Sentences are parted by semicolons and ends of lines. One with a word that is not known yields
    nothing; a side or mode that was not said is asked for. Raises UserError if the text is longer
    than `LONGEST` characters.
    """
    if len(text) > LONGEST:
        raise UserError("line", f"{len(text)} characters", f"at most {LONGEST}",
                        "Read it in several parts.")  # fmt: skip
    words = line_words_of(region)
    outcomes = [o for sentence in split_sentences(text) for o in read_sentence(sentence, words)]
    return LineReading(
        text=text,
        understood=tuple(o for o in outcomes if isinstance(o, Understood)),
        not_understood=tuple(o for o in outcomes if isinstance(o, NotUnderstood)),
        questions=tuple(o for o in outcomes if isinstance(o, Question)),
    )
