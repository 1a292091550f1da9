"""`sidewise serve`: your own patients, on this machine."""

from __future__ import annotations

import typer


def serve(
    port: int = typer.Option(8790, help="Port to serve on; the next free one if it is taken."),
    browser: bool = typer.Option(True, "--browser/--no-browser", help="Open a browser."),
) -> None:
    """Serve the web pages on this machine only; a department runs a WSGI server instead."""
    from sidewise.web.demo import prepare
    from sidewise.web.demo import serve as serve_pages
    from sidewise.web.keeping.shell import said_in_words

    with said_in_words():
        prepare()
    serve_pages(port=port, open_browser=browser)
