"""Which address of this machine a tablet on the same network can reach."""

from __future__ import annotations

import re
import socket
from ipaddress import AddressValueError, IPv4Address

from sidewise.errors import UserError
from sidewise.web.tablet.authority import is_local

ELSEWHERE = ("10.255.255.255", "172.31.255.255", "192.168.255.255")
"""Asked which address would be used to reach them; nothing is sent."""
EXPECTED = "an address of a local network, such as 192.168.1.20"


def chosen_address(text: str | None) -> IPv4Address:
    """The address that somebody gave, else the one of the local network. UserError for neither."""
    if text is None:
        return _own_address()
    try:
        address = IPv4Address(text)
    except AddressValueError:
        raise UserError("--address", text, EXPECTED, "Give the address of this machine.") from None
    if not is_local(address):
        do = "Pages are served on a local network only; a department runs a WSGI server."
        raise UserError("--address", text, EXPECTED, do)
    return address


def machine_name() -> str:
    """The first part of the machine's name, fit for a name on the network."""
    name = re.sub(r"[^a-z0-9-]", "-", socket.gethostname().split(".")[0].lower()).strip("-")
    return name or "sidewise"


def _own_address() -> IPv4Address:
    found = [address for goal in ELSEWHERE if (address := _towards(goal)) is not None]
    usable = [address for address in found if is_local(address) and not address.is_loopback]
    if not usable:
        got = f"no local network ({', '.join(map(str, dict.fromkeys(found))) or 'no address'})"
        do = "Join the network that the tablet is on, or give the address with --address."
        raise UserError("--tablet", got, EXPECTED, do)
    return usable[0]


def _towards(goal: str) -> IPv4Address | None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect((goal, 9))
        except OSError:
            return None
        return IPv4Address(probe.getsockname()[0])
