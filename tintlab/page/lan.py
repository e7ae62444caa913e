"""Letting a phone in: this computer's address on its network, as a code to scan."""

import io
import ipaddress
import socket

import segno

from tintlab.errors import PageError

# RFC 5737: an address of documentation, which no network has
NOWHERE = ("192.0.2.1", 9)
WHITE_ON_BLACK, PLAIN = "\x1b[97;40m", "\x1b[0m"


def own_address() -> str:
    """Return the address of this computer on the network that it would send by.

    Nothing is sent: connecting a datagram socket only looks the way up.

    Raises
    ------
    PageError
        When there is no network, or only one that the whole world can reach.
    """
    try:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as looked_up:
            looked_up.connect(NOWHERE)
            found = str(looked_up.getsockname()[0])
    except OSError:
        found = "0.0.0.0"  # noqa: S104  stands for none; nothing is bound to it
    return checked(found)


def checked(address: str) -> str:
    """Return an address of a home or workshop network.

    Raises
    ------
    PageError
        For an address that is none, or that is public (RFC 1918 and 6890).
    """
    known = ipaddress.ip_address(address)
    if known.is_unspecified or known.is_loopback:
        raise PageError(
            "this computer is on no network that a phone could be on; join the "
            "phone's Wi-Fi first, or leave --lan out"
        )
    if not known.is_private:
        raise PageError(
            f"this computer's address {address} can be reached from the whole "
            "internet; --lan is for a home or workshop network only"
        )
    return address


def code(address: str) -> str:
    """Return an address as a QR code (ISO/IEC 18004) of text.

    White on black whatever the terminal's own colours are, because not every phone
    reads a code with dark and light exchanged.
    """
    out = io.StringIO()
    segno.make(address, error="l", micro=False).terminal(out, compact=True)
    lines = out.getvalue().rstrip("\n").split("\n")
    return "\n".join(f"{WHITE_ON_BLACK}{line}{PLAIN}" for line in lines)
