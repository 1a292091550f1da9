"""Where a patient is seen: the one list of clinical settings, by the word in a record and in words.

The words stand in stored records and in the knowledge files: one may be added, none renamed.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Literal, get_args

from sidewise.ground.language import mark_text, term

Setting = Literal[
    "primary", "msk_clinic", "orthopaedic", "emergency",
    "ward", "rheumatology", "neurology", "pain_clinic", "sports",
]  # fmt: skip
STANDS_IN: Mapping[str, str] = MappingProxyType(
    {
        "ward": "emergency",
        "rheumatology": "msk_clinic",
        "neurology": "msk_clinic",
        "pain_clinic": "msk_clinic",
        "sports": "msk_clinic",
    }
)
"""Settings for which there are no pre-test figures, and whose figures are used (our judgement)."""
SETTINGS: tuple[str, ...] = tuple(name for name in get_args(Setting) if name not in STANDS_IN)
"""Settings that have pre-test figures of their own."""
SETTING_WORDS: Mapping[str, str] = MappingProxyType(
    {
        "primary": mark_text("primary care"),
        "msk_clinic": mark_text("musculoskeletal clinic"),
        "orthopaedic": mark_text("orthopaedic clinic"),
        "emergency": mark_text("emergency department"),
        "ward": mark_text("hospital ward"),
        "rheumatology": mark_text("rheumatology clinic"),
        "neurology": mark_text("neurology clinic"),
        "pain_clinic": mark_text("pain clinic"),
        "sports": mark_text("sports medicine"),
    }
)


def said_settings() -> list[tuple[str, str]]:
    """Every setting with its words in the language spoken."""
    return [(name, term(words)) for name, words in SETTING_WORDS.items()]
