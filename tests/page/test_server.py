"""The real server on a free port, as another program of this computer meets it."""

import asyncio
import contextlib
import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import threading
from pathlib import Path

import httpx
import pytest

from tintlab.errors import PageError
from tintlab.page import server as server_module
from tintlab.page.book import open_books
from tintlab.page.child import end_with_parent
from tintlab.page.safety import MOST_UPLOAD

ROOT = Path(__file__).resolve().parents[2]
PATIENCE = 60  # [s]


class Running:
    """A server started as a maker starts it."""

    def __init__(self, folder, *options):
        self.folder = folder
        self.process = subprocess.Popen(
            [sys.executable, "-m", "tintlab", "page", ".", "--no-open", *options],
            cwd=folder,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            encoding="utf-8",
            start_new_session=True,  # as in a terminal: Ctrl-C goes to all of it
        )
        watch = threading.Timer(PATIENCE, self.process.kill)
        watch.start()
        said = ""
        while "Ctrl-C" not in said:
            line = self.process.stdout.readline()
            assert line, self.process.stderr.read()
            said += line
        watch.cancel()
        self.said = said
        self.address = re.search(r"http://\S+", said)[0]
        self.home, self.secret = self.address.split("/?secret=")
        self.port = int(self.home.rpartition(":")[2])

    @contextlib.contextmanager
    def client(self):
        """Yield a client that has come in by the address."""
        with httpx.Client(
            base_url=self.home, follow_redirects=True, timeout=PATIENCE, trust_env=False
        ) as client:
            assert client.get(f"/?secret={self.secret}").status_code == 200
            yield client

    def status(self, *lines):
        """Send request lines and headers just so; return the status of the answer."""
        with socket.create_connection(("127.0.0.1", self.port), PATIENCE) as line:
            line.sendall("\r\n".join([*lines, "", ""]).encode("latin-1"))
            with line.makefile("rb") as answer:
                return int(answer.readline().split()[1])

    def connect(self, *, host=None, origin=None, cookie=None):
        """Ask for the page's websocket; 101 when it is given."""
        wanted = {
            "Host": host or self.home.removeprefix("http://"),
            "Origin": origin,
            "Cookie": cookie,
        }
        return self.status(
            "GET /_nicegui_ws/socket.io/?EIO=4&transport=websocket HTTP/1.1",
            *(f"{name}: {value}" for name, value in wanted.items() if value),
            "Upgrade: websocket",
            "Connection: Upgrade",
            "Sec-WebSocket-Version: 13",
            "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==",  # RFC 6455, section 1.3
        )

    def stop(self, with_=signal.SIGINT):
        """Press Ctrl-C; return the exit status and what was said last."""
        if self.process.poll() is None:
            os.killpg(self.process.pid, with_)
        out, err = self.process.communicate(timeout=PATIENCE)
        return self.process.returncode, out + err


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    place = tmp_path_factory.mktemp("page")
    folder = shutil.copytree(ROOT / "demo/tide-bell", place / "tide-bell")
    (place / "secret.png").write_bytes((folder / "tide-bell.png").read_bytes())
    (folder / "link.png").symlink_to(place / "secret.png")
    (folder / "up").symlink_to(place)
    running = Running(folder)
    yield running
    with contextlib.suppress(ProcessLookupError):
        os.killpg(running.process.pid, signal.SIGKILL)
    running.process.communicate()


@pytest.fixture(scope="module")
def client(server):
    with server.client() as client:
        yield client


@pytest.fixture(scope="module")
def cookie(client):
    return "; ".join(f"{name}={value}" for name, value in client.cookies.items())


# ----------------------------------------------------------------------- key


def test_the_address_is_on_this_computer_with_a_long_secret(server):
    assert server.home.startswith("http://127.0.0.1:")
    assert len(server.secret) >= 43
    assert "Press Ctrl-C here to stop it." in server.said


def test_nothing_is_reached_without_the_key(server, client):
    page = client.get("/").text
    assets = re.findall(r'(?:src|href|url\()="?(/[^")]+)', page)
    assert len(assets) > 3
    with httpx.Client(base_url=server.home, trust_env=False) as stranger:
        for path in ("/", "/piece?file=tide-bell.toml", "/docs", "/nowhere", *assets):
            wrong = f"{path}{'&' if '?' in path else '?'}secret=wrong"
            assert stranger.get(path).status_code == 403
            assert stranger.get(wrong).status_code == 403
    for path in assets:
        assert client.get(path).status_code == 200


def test_the_address_is_cleaned_and_the_cookie_is_strict(server):
    found = httpx.get(server.address, trust_env=False)
    assert found.status_code == 303
    assert found.headers["location"] == f"{server.home}/"
    assert "HttpOnly; SameSite=Strict" in found.headers["set-cookie"]
    assert server.secret not in str(found.headers)


def test_the_page_names_no_other_place(client):
    found = client.get("/piece?file=tide-bell.toml")
    assert found.status_code == 200
    assert "Tide bell window" in found.text
    assert '<html lang="en' in found.text
    pulled = re.findall(
        r'(?:src|href|url\(|import\()["\s(]*=?["\s]*(\w+:)?//', found.text
    )
    assert pulled == []
    assert "'none'" in found.headers["content-security-policy"]
    assert found.headers["x-frame-options"] == "DENY"
    assert "server" not in found.headers


# -------------------------------------------------------------- other places


def test_a_hostile_name_for_this_computer_is_421(server, cookie):
    for host in ("evil.example", f"evil.example:{server.port}", "127.0.0.1"):
        status = server.status(
            "GET / HTTP/1.1", f"Host: {host}", f"Cookie: {cookie}", "Connection: close"
        )
        assert status == 421
        assert server.connect(host=host, origin=f"http://{host}", cookie=cookie) == 403


def test_a_websocket_opens_for_the_own_page_only(server, cookie):
    port = server.port
    assert server.connect(origin=server.home, cookie=cookie) == 101
    assert server.connect(origin=server.home) == 403
    assert server.connect(cookie=cookie) == 403
    for origin in ("http://evil.example", "null", f"http://localhost:{port}"):
        assert server.connect(origin=origin, cookie=cookie) == 403
    localhost = f"localhost:{port}"
    assert server.connect(
        host=localhost, origin=f"http://{localhost}", cookie=cookie
    ) == (101)


def test_another_site_cannot_send(client):
    for headers in ({"origin": "http://evil.example"}, {"origin": "null"}, {}):
        found = client.post("/_nicegui/client/1/upload/2", headers=headers)
        assert found.status_code == 403


def test_only_loopback_listens(server):
    with pytest.raises(OSError, match="refused"):  # also loopback, but not bound to
        socket.create_connection(("127.0.0.2", server.port), 5).close()


# ------------------------------------------------------------------- folders


@pytest.mark.parametrize(
    "name",
    [
        *(
            "../secret.png",
            "up/secret.png",
            "link.png",
            "/etc/passwd",
            "art/../../secret",
        ),
        *("..%2Fsecret.png", "%2e%2e/secret.png", "tide-bell.toml", "\0", "art"),
    ],
)
def test_no_picture_outside_the_folder_is_shown(client, name):
    assert client.get("/picture", params={"file": name}).status_code == 404


def test_pictures_inside_are_shown(client):
    found = client.get("/picture", params={"file": "art/../tide-bell.png"})
    assert found.content.startswith(b"\x89PNG")
    assert found.headers["x-content-type-options"] == "nosniff"


@pytest.mark.parametrize("name", ["../x.toml", "/etc/passwd", "up/x.toml", "none.toml"])
def test_a_piece_outside_is_a_message(client, name):
    found = client.get("/piece", params={"file": name})
    assert found.status_code == 200
    assert "cannot be opened" in found.text


@pytest.mark.parametrize("path", ["/../../etc/passwd", "/%2e%2e/%2e%2e/etc/passwd"])
def test_paths_lead_nowhere(server, cookie, path):
    lines = (f"Host: 127.0.0.1:{server.port}", f"Cookie: {cookie}", "Connection: close")
    assert server.status(f"GET {path} HTTP/1.1", *lines) == 404


# ---------------------------------------------------------------------- size


def test_a_huge_upload_is_413(server, cookie):
    common = (
        f"Host: 127.0.0.1:{server.port}",
        f"Origin: {server.home}",
        f"Cookie: {cookie}",
    )
    upload = "POST /_nicegui/client/1/upload/2 HTTP/1.1"
    assert server.status(upload, *common, f"Content-Length: {MOST_UPLOAD + 1}") == 413
    other = "POST /_nicegui_ws/socket.io/?EIO=4&transport=polling HTTP/1.1"
    assert server.status(other, *common, "Content-Length: 5000000") == 413


# ---------------------------------------------------------------------- end


def test_nothing_is_written_by_looking(server, client):
    before = sorted(server.folder.rglob("*"))
    assert client.get("/piece?file=cast-too-dark.toml").status_code == 200
    assert sorted(server.folder.rglob("*")) == before
    assert not (server.folder / ".nicegui").exists()


def test_z_ctrl_c_stops_it_cleanly(server):
    status, said = server.stop()
    assert status == 0
    assert "stopped" in said
    assert "Traceback" not in said
    with pytest.raises(OSError, match="refused"):
        socket.create_connection(("127.0.0.1", server.port), 5).close()


# ----------------------------------------------------------------- in process


def test_a_socket_that_cannot_be_opened_is_told():
    with contextlib.closing(server_module.listening("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        for host, number in (("127.0.0.1", port), ("203.0.113.9", 0)):  # RFC 5737
            with pytest.raises(PageError, match="cannot open the page at"):
                server_module.listening(host, number)


def test_unsaved_texts_are_kept_while_it_runs_and_when_it_ends(tmp_path, monkeypatch):
    folder = shutil.copytree(ROOT / "demo/tide-bell", tmp_path / "tide-bell")
    monkeypatch.setattr(server_module, "OFTEN", 0.01)
    books = open_books(folder)
    book = books.open("tide-bell.toml")
    kept = folder / "tide-bell.toml.unsaved"

    async def run():
        async with server_module._keeping(books)(None):
            book.put(("name",), "one")
            for _ in range(1000):
                await asyncio.sleep(0.01)
                if kept.exists():
                    break
            assert kept.exists()
            book.put(("name",), "two")

    asyncio.run(asyncio.wait_for(run(), PATIENCE))
    assert 'name = "two"' in kept.read_text(encoding="utf-8")


@pytest.mark.parametrize("name", ["SIGTERM", "SIGHUP"])
def test_a_closed_terminal_ends_it_like_ctrl_c(name):
    if not hasattr(signal, name):
        pytest.skip("this system has no such signal")
    before = {s: signal.getsignal(s) for s in (signal.SIGTERM, signal.SIGHUP)}
    try:
        server_module._end_with_terminal()
        with pytest.raises(KeyboardInterrupt):
            signal.raise_signal(getattr(signal, name))
    finally:
        for one, handler in before.items():
            signal.signal(one, handler)


def test_helpers_are_started_deaf_to_ctrl_c(monkeypatch):
    before, seen = signal.getsignal(signal.SIGINT), []
    monkeypatch.setattr(
        server_module.forkserver,
        "ensure_running",
        lambda: seen.append(signal.getsignal(signal.SIGINT)),
    )
    server_module._start_helpers()
    assert seen == [signal.SIG_IGN]
    assert signal.getsignal(signal.SIGINT) is before
    try:
        end_with_parent()  # this process has no parent to wait for
        assert signal.getsignal(signal.SIGINT) is signal.SIG_IGN
    finally:
        signal.signal(signal.SIGINT, before)
