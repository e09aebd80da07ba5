"""The home network: under which address this machine is reached there, and what is said before it is opened."""

import ipaddress
import socket
import sys
from collections.abc import Iterable, Iterator

from markstead.errors import InputError, Problem
from markstead.speech import say

_OUTSIDE = (("192.0.2.1", socket.AF_INET), ("2001:db8::1", socket.AF_INET6))
"""Addresses kept for documentation (RFC 5737, RFC 3849): nobody has them, and nothing is sent there."""
_HOMES = (("192.168.0.1", socket.AF_INET), ("10.0.0.1", socket.AF_INET), ("172.16.0.1", socket.AF_INET))
"""Where home networks without a way out lie (RFC 1918)."""


def _own_address_towards(there: str, family: socket.AddressFamily) -> str | None:
    """This machine's own address on the way to another one; nothing is sent to find it."""
    try:
        with socket.socket(family, socket.SOCK_DGRAM) as trial:
            trial.connect((there, 9))
            return str(trial.getsockname()[0])
    except OSError:
        return None


def _own_addresses() -> Iterator[str]:
    """Addresses of this machine, the likeliest first; some come twice, some are of no home network."""
    for there, family in (*_OUTSIDE, *_HOMES):
        found = _own_address_towards(there, family)
        if found is not None:
            yield found
    try:
        named = socket.getaddrinfo(socket.gethostname(), None, type=socket.SOCK_STREAM)
    except OSError:
        return
    yield from (str(address[4][0]) for address in named)


def of_a_home(address: str) -> bool:
    """Whether an address is of a network at home: neither this machine alone, nor one that the whole world reaches."""
    try:
        found = ipaddress.ip_address(address)
    except ValueError:
        return False
    apart = found.is_loopback or found.is_unspecified or found.is_multicast or found.is_link_local
    return not apart and not found.is_global


def home_addresses(own: Iterable[str] | None = None) -> tuple[str, ...]:
    """Under which addresses this machine is reached on the home network, the likeliest first.

    Raises:
        InputError: it is in no home network.
    """
    every = tuple(dict.fromkeys(_own_addresses() if own is None else own))
    found = tuple(address for address in every if of_a_home(address))
    if found:
        return found
    outside = [a for a in every if ipaddress.ip_address(a).is_global]
    says = (
        say("only {outside}, which the whole internet may reach", outside=outside[0])
        if outside
        else say("no network")
    )
    allowed = say("a home network, as from a router or a phone")
    do = say("Join one, or name the address with --host ADDRESS.")
    raise InputError([Problem("--lan", says, allowed, do)])


def at(address: str) -> str:
    """An address as it stands in front of a port."""
    return f"[{address}]" if ":" in address else address


def what_is_opened(url: str, *, secure: bool, others: Iterable[str] = ()) -> str:
    """What to know before the home network is let in, as a paragraph."""
    way = (
        say("What is sent is encrypted by your certificate.")
        if secure
        else say(
            "It is plain http: whoever is in the same network and knows how can read what is "
            "sent, passwords too. With --certificate and --key it is https."
        )
    )
    more = ", ".join(others)
    also = (
        say(
            " This machine has other addresses as well ({more}); to open one of them instead, "
            "name it with --host.",
            more=more,
        )
        if more
        else ""
    )
    return say(
        "{url} is open to every device in your home network, by cable and by wireless, "
        "guests too, and to nobody beyond it unless your router passes it on. Each of them "
        "finds the sign-in; nobody gets further without a password or, on a tablet that you "
        "opened, a PIN. {way} Ctrl and C close it; without --lan it is open to this machine "
        "alone.{also}",
        url=url,
        way=way,
        also=also,
    )


def picture(url: str) -> str:
    """A code for a camera, in half blocks of text; empty where the terminal cannot write them."""
    import segno

    matrix = [list(row) for row in segno.make(url, error="m", micro=False).matrix_iter(border=2)]
    if len(matrix) % 2:
        matrix.append([0] * len(matrix[0]))
    blocks = {(1, 1): "█", (1, 0): "▀", (0, 1): "▄", (0, 0): " "}
    rows = [
        "".join(blocks[bool(a), bool(b)] for a, b in zip(upper, lower, strict=True))
        for upper, lower in zip(matrix[::2], matrix[1::2], strict=True)
    ]
    try:
        "█▀▄".encode(sys.stdout.encoding or "ascii")
    except UnicodeEncodeError:
        return ""
    # Black on white whatever the terminal's own colours are: few cameras read it the other way round.
    before, after = ("\x1b[30;107m", "\x1b[0m") if sys.stdout.isatty() else ("", "")
    return "\n".join(f"{before}{row}{after}" for row in rows)
