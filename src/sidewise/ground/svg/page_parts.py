"""Small pieces of our own pictures: a scale, text, lines and marks as SVG strings.

Positions are rounded to a tenth of a pixel. Colours are classes, so that the page's style rules
(dark, print, forced colours) reach into the pictures; nothing is told by colour alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from html import escape

import numpy as np


@dataclass(frozen=True, slots=True)
class Scale:
    """Values from `low` to `high` drawn between pixels `start` and `stop`."""

    low: float
    high: float
    start: float
    stop: float

    def __call__(self, value: float) -> float:
        """The pixel of a value; values outside are drawn at the edge."""
        inside = min(max(value, self.low), self.high)
        share = (inside - self.low) / (self.high - self.low)
        return self.start + share * (self.stop - self.start)

    def ticks(self, about: int = 5) -> list[float]:
        """Round values between the ends, about as many as asked for."""
        raw = (self.high - self.low) / about
        power = 10 ** np.floor(np.log10(raw))
        step = power * min((1, 2, 5, 10), key=lambda m: abs(m * power - raw))
        first = np.ceil(self.low / step - 1e-9) * step
        count = int(np.floor((self.high - first) / step + 1e-9)) + 1
        return [float(round(first + i * step, 10)) for i in range(count)]


def roomy_scale(low: float, high: float, start: float, stop: float, share: float = 0.04) -> Scale:
    """A scale with a little room at both ends; never of no width."""
    room = max(high - low, 1e-6) * share
    return Scale(low - room, high + room, start, stop)


def pixels(value: float) -> str:
    """A pixel position as short text."""
    return f"{value:.1f}".rstrip("0").rstrip(".")


def line_tag(x1: float, y1: float, x2: float, y2: float, kind: str = "rule") -> str:
    """A straight line."""
    return (
        f'<line class="{kind}" x1="{pixels(x1)}" y1="{pixels(y1)}" '
        f'x2="{pixels(x2)}" y2="{pixels(y2)}"/>'
    )


def text_tag(x: float, y: float, text: str, kind: str = "", anchor: str = "start") -> str:
    """A piece of text."""
    said = f' class="{kind}"' if kind else ""
    return (
        f'<text{said} x="{pixels(x)}" y="{pixels(y)}" text-anchor="{anchor}">{escape(text)}</text>'
    )


def dot_tag(x: float, y: float, radius: float = 4, kind: str = "dot") -> str:
    """A round mark: an ordinary one."""
    return f'<circle class="{kind}" cx="{pixels(x)}" cy="{pixels(y)}" r="{pixels(radius)}"/>'


def diamond_tag(x: float, y: float, size: float = 7) -> str:
    """A diamond: the one to look at."""
    points = [(x, y - size), (x + size, y), (x, y + size), (x - size, y)]
    joined = " ".join(f"{pixels(a)},{pixels(b)}" for a, b in points)
    return f'<polygon class="look" points="{joined}"/>'


def whisker_tags(scale: Scale, low: float | None, high: float | None, y: float, kind: str) -> str:
    """An interval with ends; an end outside the scale has no stop."""
    if low is None or high is None or low != low or high != high:
        return ""
    parts = [line_tag(scale(low), y, scale(high), y, kind)]
    parts += [
        line_tag(scale(v), y - 4, scale(v), y + 4, kind) for v in (low, high) if _inside(scale, v)
    ]
    return "".join(parts)


def _inside(scale: Scale, value: float) -> bool:
    return scale.low <= value <= scale.high


def band_tag(x1: float, x2: float, y1: float, y2: float, kind: str = "band") -> str:
    """A shaded rectangle."""
    left, right = min(x1, x2), max(x1, x2)
    return (
        f'<rect class="{kind}" x="{pixels(left)}" y="{pixels(y1)}" width="{pixels(right - left)}" '
        f'height="{pixels(y2 - y1)}"/>'
    )


def axis_tags(scale: Scale, y: float, digits: int = 0, about: int = 5) -> str:
    """Ticks and their numbers under a horizontal scale."""
    parts = [line_tag(scale.start, y, scale.stop, y)]
    for value in scale.ticks(about):
        parts.append(line_tag(scale(value), y, scale(value), y + 4))
        parts.append(text_tag(scale(value), y + 17, f"{value:.{digits}f}", "small", "middle"))
    return "".join(parts)


def labels_beside(x: float, labels: list[tuple[float, str]], apart: float = 15) -> list[str]:
    """Small labels at their heights, moved down where they would stand on each other."""
    placed: list[str] = []
    least = float("-inf")
    for y, text in sorted(labels):
        at = max(y + 4, least)
        placed.append(text_tag(x, at, text, "small"))
        least = at + apart
    return placed


def svg_tag(width: float, height: float, label: str, parts: list[str]) -> str:
    """The finished picture with a label that states what it shows."""
    return (
        f'<svg role="img" aria-label="{escape(label)}" '
        f'viewBox="0 0 {pixels(width)} {pixels(height)}" '
        f'xmlns="http://www.w3.org/2000/svg">{"".join(parts)}</svg>'
    )
