"""How each kind of shape is painted: colours by name, so that a page, a print or forced colours
can set them (`figure.css`), with light colours where nobody does.
"""

from __future__ import annotations

COLOURS = {
    "ink": "#222",
    "skin": "#fbf3ea",
    "bone": "#f1e8d0",
    "rib": "#efe8da",
    "muscle": "#d8998b",
    "muscle-edge": "#7d2e22",
    "nerve": "#2f7d8c",
    "accent": "#155e75",
}
"""The light colours by name; a style sheet sets `--fig-NAME`."""

NONE = "none"
_MUSCLE = {"fill": "muscle", "fill-opacity": "0.85", "stroke": "muscle-edge", "stroke-width": "0.8"}
_OUTLINE = {"fill": NONE, "stroke": "ink", "stroke-width": "1.5"}
PAINT: dict[str, dict[str, str]] = {
    "skin": {"fill": "skin"},
    "outline": _OUTLINE,
    "crease": {**_OUTLINE, "stroke-width": "1.2"},
    "ghost": {**_OUTLINE, "stroke": "accent", "stroke-dasharray": "7 4"},
    "unmeasured": {**_OUTLINE, "stroke-opacity": "0.6", "stroke-dasharray": "1.5 4"},
    "bone": {"fill": "bone", "stroke": "ink", "stroke-opacity": "0.75", "stroke-width": "0.9"},
    "bone trunk": {
        "fill": "rib",
        "stroke": "ink",
        "stroke-opacity": "0.45",
        "stroke-width": "0.6",
    },
    "bone lines": {"fill": NONE, "stroke": "ink", "stroke-opacity": "0.75", "stroke-width": "0.6"},
    "superficial": _MUSCLE,
    "deep": _MUSCLE,
    "superficial lines": {"fill": NONE, "stroke": "muscle-edge", "stroke-width": "0.6"},
    "deep lines": {"fill": NONE, "stroke": "muscle-edge", "stroke-width": "0.6"},
    "nerve": {
        "fill": "nerve",
        "fill-opacity": "0.16",
        "stroke": "nerve",
        "stroke-width": "0.9",
        "stroke-dasharray": "5 3",
    },
    "landmark": {"fill": NONE, "stroke": "accent", "stroke-width": "1.3"},
}
"""Attributes of each kind of shape; `fill` and `stroke` name a colour. Widths are in pixels where
strokes do not scale, else in units twice as wide."""
OPACITY = {"superficial": "muscle-fill", "deep": "muscle-fill", "nerve": "nerve-fill"}
"""How much of a layer's colour is laid on, by the name under which a style sheet sets it."""
STROKE = 'vector-effect="non-scaling-stroke" stroke-linecap="round" stroke-linejoin="round"'
"""On each path that a style sheet does not reach."""
STANDALONE_WIDTH = 1.6
"""Where strokes scale with the drawing, they are this much wider."""


def attributes(kind: str, *, standalone: bool = False) -> str:
    """The attributes of a kind of shape as SVG writes them.

    standalone: plain colours, for readers that know no style sheet; strokes scale.
    """
    written = []
    for name, value in PAINT[kind].items():
        if name in ("fill", "stroke") and value != NONE:
            value = COLOURS[value] if standalone else f"var(--fig-{value}, {COLOURS[value]})"
        elif name == "fill-opacity" and not standalone:
            value = f"var(--fig-{OPACITY[kind]}, {value})"
        elif name == "stroke-width" and standalone:
            value = f"{float(value) * STANDALONE_WIDTH:g}"
        written.append(f'{name}="{value}"')
    return " ".join(written)
