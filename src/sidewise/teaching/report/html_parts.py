"""Small pieces of the page: tables, lists, pictures with captions, things one tap away."""

from __future__ import annotations

from html import escape

# A page with more rows than this is no longer read; the machine-readable output has them all.
MOST_ROWS = 2000


def table_html(
    heads: list[str], rows: list[list[str]], look: set[int] | None = None, prose: int | None = None
) -> str:
    """A table; the first cell of a row is its heading; rows in `look` are set strong; the column
    `prose` holds words that may wrap."""
    head = "".join(
        f'<th scope="col"{_prose(k, prose)}>{escape(h)}</th>' for k, h in enumerate(heads)
    )
    lines = []
    for i, row in enumerate(rows):
        strong = ' class="look"' if look and i in look else ""
        cells = "".join(
            f"<td{_prose(k, prose)}>{escape(c)}</td>" for k, c in enumerate(row[1:], start=1)
        )
        lines.append(f'<tr{strong}><th scope="row">{escape(row[0])}</th>{cells}</tr>')
    return (
        f'<div class="wide"><table><thead><tr>{head}</tr></thead>'
        f"<tbody>{''.join(lines)}</tbody></table></div>"
    )


def _prose(column: int, prose: int | None) -> str:
    return ' class="prose"' if column == prose else ""


def share_text(value: float) -> str:
    """A share in whole percent, or a dash."""
    return "-" if value != value else f"{100 * value:.0f}%"


def details_html(summary: str, inner: str) -> str:
    """Something one tap away."""
    return f"<details><summary>{escape(summary)}</summary>{inner}</details>"


def list_html(lines: list[str] | tuple[str, ...], kind: str = "") -> str:
    """A list of sentences."""
    said = f' class="{kind}"' if kind else ""
    return f"<ul{said}>{''.join(f'<li>{escape(text)}</li>' for text in lines if text)}</ul>"


def figure_html(drawn: str, caption: str) -> str:
    """A picture with its caption; nothing when there is no picture."""
    if not drawn:
        return ""
    return f"<figure>{drawn}<figcaption>{escape(caption)}</figcaption></figure>"
