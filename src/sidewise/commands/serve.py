"""`sidewise serve`: your own patients, on this machine, or for a tablet beside it."""

from __future__ import annotations

import typer


def serve(
    port: int = typer.Option(8790, help="Port to serve on; the next free one if it is taken."),
    browser: bool = typer.Option(True, "--browser/--no-browser", help="Open a browser."),
    tablet: bool = typer.Option(
        False, "--tablet", help="Serve a tablet on the local network, encrypted, while this runs."
    ),
    address: str | None = typer.Option(
        None, metavar="ADDRESS", help="With --tablet: this machine's address on that network."
    ),
    yes: bool = typer.Option(False, "--yes", help="With --tablet: start without asking."),
) -> None:
    """Serve the web pages on this machine only; a department runs a WSGI server instead."""
    from sidewise.web.demo import prepare
    from sidewise.web.demo import serve as serve_pages
    from sidewise.web.keeping.shell import said_in_words

    if tablet:
        serve_for_tablets(port, address, yes)
        return
    with said_in_words():
        prepare()
    serve_pages(port=port, open_browser=browser)


def serve_for_tablets(port: int, address: str | None, yes: bool) -> None:
    """What it means and a yes first; then the pages over TLS until Ctrl-C."""
    from sidewise.web.demo import prepare
    from sidewise.web.keeping.shell import said_in_words
    from sidewise.web.tablet import service

    place = service.Place.found(address)
    place.settle()
    with said_in_words():
        prepare()
    service.refuse_without_password()
    service.agree_to(service.MEANING.format(address=place.address), yes=yes, ask=input)
    service.serve_tablet(place, port=port)
