"""Catalogues of translations: gathered from the sources, and compiled. See docs/languages.md."""
