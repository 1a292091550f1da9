"""How often it was so beside how likely it was said to be, drawn."""

from __future__ import annotations

from sidewise.ground.svg.page_parts import Scale, dot_tag, line_tag, text_tag
from sidewise.practice.feedback import ChanceCalibration

WIDTH, HEIGHT = 460, 340
LEFT, RIGHT, TOP, BOTTOM = 56, 440, 16, 284
TICKS = (0.0, 0.25, 0.5, 0.75, 1.0)


def calibration_picture(found: ChanceCalibration) -> str:
    """An SVG: a point for each bin with its 95% interval, beside the line of perfect agreement.

    The label says the same in words.
    """
    across, up = Scale(0, 1, LEFT, RIGHT), Scale(0, 1, BOTTOM, TOP)
    parts = [line_tag(across(0), up(0), across(1), up(1), "agree")]
    for tick in TICKS:
        parts.append(line_tag(LEFT, up(tick), RIGHT, up(tick), "rule"))
        parts.append(text_tag(LEFT - 6, up(tick) + 4, f"{tick:.0%}", anchor="end"))
        parts.append(text_tag(across(tick), BOTTOM + 18, f"{tick:.0%}", anchor="middle"))
    for one in found.bins:
        at = across(one.stated)
        parts.append(line_tag(at, up(one.low), at, up(one.high), "interval"))
        parts.append(dot_tag(at, up(one.share), 5))
    parts.append(text_tag((LEFT + RIGHT) / 2, BOTTOM + 40, "said to be there", anchor="middle"))
    parts.append(text_tag(LEFT, 10, "was there"))
    return (
        f'<svg class="calibration" role="img" aria-label="{calibration_words(found)}" '
        f'viewBox="0 0 {WIDTH} {HEIGHT}">{"".join(parts)}</svg>'
    )


def calibration_words(found: ChanceCalibration) -> str:
    """The bins in words."""
    return "; ".join(
        f"said {one.stated:.0%} on average, was there {one.share:.0%} "
        f"({one.low:.0%} to {one.high:.0%}), {one.count} times"
        for one in found.bins
    )
