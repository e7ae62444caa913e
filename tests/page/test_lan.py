"""Letting a phone in: which address, and the code of it."""

import pytest
import segno

from tintlab.errors import PageError
from tintlab.page import lan
from tintlab.page.lan import checked, code, own_address

ADDRESS = "http://192.168.178.23:41234/?secret=" + "Aa0-_" * 8 + "xyz"


@pytest.mark.parametrize("address", ["192.168.1.5", "10.0.0.7", "172.16.4.4"])
def test_addresses_of_private_networks(address):  # RFC 1918
    assert checked(address) == address


@pytest.mark.parametrize("address", ["0.0.0.0", "127.0.0.1"])  # noqa: S104
def test_no_network(address):
    with pytest.raises(PageError, match="join the phone's Wi-Fi"):
        checked(address)


@pytest.mark.parametrize("address", ["8.8.8.8", "172.32.0.1", "193.0.0.1"])
def test_the_whole_internet_is_no_workshop(address):
    with pytest.raises(PageError, match="from the whole internet"):
        checked(address)


class Socket:
    """A datagram socket that must not send."""

    def __init__(self, found):
        self.found = found

    def __enter__(self):
        return self

    def __exit__(self, *_):
        return None

    def connect(self, where):
        assert where[0].startswith("192.0.2.")  # RFC 5737, documentation only
        if self.found is None:
            raise OSError(101, "Network is unreachable")

    def getsockname(self):
        return self.found, 5555


@pytest.mark.parametrize("found", ["192.168.1.5", None])
def test_the_own_address_is_looked_up_and_nothing_sent(monkeypatch, found):
    monkeypatch.setattr(lan.socket, "socket", lambda *_: Socket(found))
    if found is None:
        with pytest.raises(PageError, match="on no network"):
            own_address()
    else:
        assert own_address() == found


def test_the_code_holds_the_address_module_by_module():
    lines = code(ADDRESS).split("\n")
    assert all(line.startswith("\x1b[97;40m") for line in lines)
    assert all(line.endswith("\x1b[0m") for line in lines)
    rows = [line[len("\x1b[97;40m") : -len("\x1b[0m")] for line in lines]
    light = []  # two rows of modules a line: full, upper half, lower half, none
    for row in rows:
        light.append([mark in "█▀" for mark in row])
        light.append([mark in "█▄" for mark in row])
    made = segno.make(ADDRESS, error="l", micro=False)
    wanted = [[not dark for dark in row] for row in made.matrix_iter(border=4)]
    assert light[: len(wanted)] == wanted
    assert len(rows[0]) <= 60  # fits a terminal
