"""How hard a text is to read: the grade of Flesch and Kincaid, and the age that goes with it."""

from __future__ import annotations

import re

WORD = re.compile(r"[a-z]+(?:'[a-z]+)?")
VOWELS = re.compile(r"[aeiouy]+")
SILENT = re.compile(r"(?:[^laeiouy]e|[^td]ed|[^sxzcg]es|ely$)$")
YEARS_BEFORE_SCHOOL = 5
"""A pupil of grade g in the schools of the formula is about g + 5 years old."""


def reading_grade(text: str) -> float:
    """0.39 words a sentence + 11.8 syllables a word - 15.59.

    Kincaid JP, Fishburne RP, Rogers RL, Chissom BS, Research Branch Report 8-75, Naval Technical
    Training Command, 1975. Syllables are counted by groups of vowels, silent ends left out.
    A line without a full stop counts as a sentence; 0 for no words.
    """
    sentences = [one for one in re.split(r"[.!?:\n]+", text) if WORD.search(one.lower())]
    words = WORD.findall(text.lower())
    if not words:
        return 0.0
    syllables = sum(count_syllables(word) for word in words)
    return 0.39 * len(words) / len(sentences) + 11.8 * syllables / len(words) - 15.59


def reading_age(text: str) -> float:
    """The age in years at which a text of this grade is usually read."""
    return reading_grade(text) + YEARS_BEFORE_SCHOOL


def count_syllables(word: str) -> int:
    """Syllables of an English word in lower case: groups of vowels, less a silent end."""
    groups = len(VOWELS.findall(word))
    if groups > 1 and SILENT.search(word):
        groups -= 1
    return max(groups, 1)
