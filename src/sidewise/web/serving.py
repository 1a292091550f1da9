"""A threaded server of pages for one laptop, on the loopback address or, with TLS, a local one."""

from __future__ import annotations

import ssl
import sys
from socketserver import ThreadingMixIn
from typing import Any
from wsgiref.simple_server import WSGIRequestHandler, WSGIServer, make_server

from sidewise.errors import UserError

LOOPBACK = "127.0.0.1"
PORTS = 50
SILENT_S = 30
"""Who says nothing for so long is let go: on a network anybody may knock."""


class Threaded(ThreadingMixIn, WSGIServer):
    """A thread for each request; they end with the program."""

    daemon_threads = True
    # Two programs on one port would answer in turn.
    allow_reuse_port = False


class Quiet(WSGIRequestHandler):
    """Writes no addresses to the screen: the audit keeps who read what."""

    def log_message(self, *_args: Any) -> None:
        """Nothing is written."""


class Secured(Threaded):
    """The same over TLS. The handshake is in the request's thread, so that nobody waits for it."""

    context: ssl.SSLContext

    def get_request(self) -> tuple[Any, Any]:
        """The connection, not yet shaken hands with."""
        connection, peer = super().get_request()
        connection.settimeout(SILENT_S)
        return self.context.wrap_socket(
            connection, server_side=True, do_handshake_on_connect=False
        ), peer

    def handle_error(self, request: Any, client_address: Any) -> None:
        """A tablet that does not trust the root, or goes away, is no error of the program."""
        if not isinstance(sys.exception(), OSError):
            super().handle_error(request, client_address)


class QuietSecured(Quiet):
    """Says to the application that the request came over TLS."""

    def get_environ(self) -> dict[str, Any]:
        """What WSGI asks for (PEP 3333), with the scheme."""
        return {**super().get_environ(), "HTTPS": "on"}


def listening(
    application: Any, port: int, host: str = LOOPBACK, context: ssl.SSLContext | None = None
) -> Any:
    """A server on `port` or the next free one, with TLS where `context` is given. UserError if
    fifty ports are taken."""
    for candidate in range(port, port + PORTS):
        try:
            return _server(application, host, candidate, context)
        except OSError:
            continue
    raise UserError("--port", port, "a free port within fifty of it", "Give another number.")


def _server(application: Any, host: str, port: int, context: ssl.SSLContext | None) -> Any:
    if context is None:
        return make_server(host, port, application, Threaded, Quiet)
    server = make_server(host, port, application, Secured, QuietSecured)
    server.context = context
    return server
