"""Serves the pages to a tablet until Ctrl-C: what it means is said first, then two addresses."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass
from ipaddress import IPv4Address
from threading import Thread

import segno

from sidewise.errors import UserError
from sidewise.reason.weighing.warm_up import ready_soon
from sidewise.regions import every_region
from sidewise.web.home import home
from sidewise.web.serving import listening
from sidewise.web.tablet.authority import Authority, kept_authority, server_context
from sidewise.web.tablet.network import chosen_address, machine_name
from sidewise.web.tablet.steps import steps_application

MEANING = """\
From here on every device on the network of {address} can reach the sign-in page of this machine.
  Patients' data travel encrypted, and only to who signs in; the data stay on this machine.
  A tablet keeps nothing readable; what it could not send yet is kept on it encrypted.
  Use a network that is yours: not a guest network, not one of a cafe or hotel.
  Your institution's rules on patients' data come first.
  It serves only while this command runs. Stop it with Ctrl-C."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where a tablet finds the pages, and with what they are secured."""

    address: IPv4Address
    authority: Authority

    @classmethod
    def found(cls, address: str | None) -> Place:
        """The place of this machine. UserError without a local network or with a damaged root."""
        return cls(chosen_address(address), kept_authority(home() / "tablet"))

    def settle(self) -> None:
        """Tell the settings, before they are read: which names to answer to, secure cookies."""
        names = [str(self.address), f"{machine_name()}.local"]
        os.environ["SIDEWISE_HOSTS"] = ",".join(names)
        os.environ["SIDEWISE_TLS"] = "own"


def agree_to(meaning: str, *, yes: bool, ask: Callable[[str], str]) -> None:
    """Say what it means and wait for a yes. UserError for anything else: nothing was served."""
    print(meaning)
    if yes:
        return
    try:
        answer = ask("Serve now? Type yes: ")
    except EOFError:
        answer = ""
    if answer.strip().lower() != "yes":
        do = "Nothing was served. Start it again and type yes, or give --yes."
        raise UserError("--tablet", answer or "no answer", "yes", do)


def refuse_without_password() -> None:
    """UserError while nobody has chosen a password: whoever came first would own the data."""
    from sidewise.web.accounts.first_run import administrators

    if not any(user.has_usable_password() for user in administrators()):
        do = "Start `sidewise serve` once on this machine and choose a password, then try again."
        raise UserError("--tablet", "no password", "an account with a password", do)


def serve_tablet(place: Place, *, port: int) -> None:
    """Serve the pages over TLS, and the steps without, until Ctrl-C."""
    from django.core.wsgi import get_wsgi_application

    context = server_context(place.authority, place.address, machine_name(), home() / "tablet")
    host = str(place.address)
    pages = listening(get_wsgi_application(), port, host, context)
    secured = f"https://{host}:{pages.server_address[1]}/"
    steps = listening(
        steps_application(place.authority, secured), pages.server_address[1] + 1, host
    )
    Thread(target=steps.serve_forever, daemon=True).start()
    ready_soon(every_region)
    _say(secured, f"http://{host}:{steps.server_address[1]}/", place.authority)
    try:
        pages.serve_forever()
    except KeyboardInterrupt:
        print("\nStopped. What was saved is kept. Tablets reach nothing here any more.")
    finally:
        steps.shutdown()
        for server in (pages, steps):
            server.server_close()


def _say(secured: str, steps: str, authority: Authority) -> None:
    print(f"A new tablet opens this once: {steps}")
    segno.make(steps).terminal(compact=True)
    print("and compares this fingerprint with the certificate's own, in its details:")
    print(f"  {authority.fingerprint}")
    print(f"Ready at {secured}")
    print("Stop with Ctrl-C.", flush=True)
