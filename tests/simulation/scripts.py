"""The page's own scripts, as they are shipped, in one text for the engine.

The engine loads no modules by address; each module becomes a function that gives what it exports.
Nothing else of their text is changed.
"""

from __future__ import annotations

import re
from functools import lru_cache
from pathlib import Path

HERE = Path(__file__).parent
SHIPPED = HERE.parents[1] / "src" / "sidewise" / "web" / "static" / "sidewise"
ON_EVERY_PAGE = ("session.js", "queue.js")
"""In the order of `keeping/scripts.html`; a test compares."""


@lru_cache(maxsize=1)
def around() -> str:
    """What the browser is, for these scripts."""
    return (HERE / "around.js").read_text()


@lru_cache(maxsize=1)
def shipped() -> str:
    """Every script of a page with what it imports."""
    return "\n".join(_as_function(name) for name in ("replaces.js", *ON_EVERY_PAGE))


def _as_function(name: str) -> str:
    text = (SHIPPED / name).read_text()
    text = re.sub(
        r'^import (\{[^}]*\}) from "\./([^"]+)";$', r'const \1 = modules["\2"];', text, flags=re.M
    )
    exported = re.findall(r"^export const (\w+)", text, flags=re.M)
    text = re.sub(r"^export ", "", text, flags=re.M)
    assert not re.search(r"^(import|export) ", text, flags=re.M), name
    return (
        f'(globalThis.modules ??= {{}})["{name}"] = (() => {{\n{text}\n'
        f"return {{ {', '.join(exported)} }};\n}})();"
    )
