"""Who is let in: every request is judged before the application sees anything of it."""

import asyncio
import re
from http.cookies import SimpleCookie

import httpx
import pytest
from starlette.applications import Starlette
from starlette.requests import ClientDisconnect, Request
from starlette.responses import PlainTextResponse
from starlette.routing import Route

from tintlab.page.safety import MOST_BODY, MOST_UPLOAD, UPLOADS, Door, Guard

HOST = "127.0.0.1:4321"
HOME = f"http://{HOST}"
DOOR = Door(
    hosts=(HOST, "localhost:4321", "[::1]:4321", "192.168.1.5:4321"),
    secret="known" * 9,  # so that the tests have the same names every time
    pass_="shown" * 9,
)
COOKIE = {"cookie": f"{DOOR.cookie}={DOOR.pass_}"}
OWN = {**COOKIE, "origin": HOME}


class Inside:
    """An application that remembers what reached it."""

    def __init__(self):
        self.reached = []
        self.read = 0
        self.app = Starlette(
            routes=[Route("/{path:path}", self.answer, methods=["GET", "POST", "PUT"])]
        )

    async def answer(self, request: Request):
        self.reached.append(request.url.path)
        async for part in request.stream():
            self.read += len(part)
        return PlainTextResponse(
            "inside", headers={"X-Frame-Options": "ALLOWALL", "server": "x"}
        )

    async def __call__(self, scope, receive, send):
        if scope["type"] == "websocket":
            self.reached.append(scope["path"])
            await send({"type": "websocket.accept"})
            return
        await self.app(scope, receive, send)


@pytest.fixture
def inside():
    return Inside()


@pytest.fixture
def ask(inside):
    """Return a function that sends one request through the door."""
    guard = Guard(inside, DOOR)

    def asked(method="GET", path="/", *, host=HOST, headers=None, content=None):
        async def sent():
            transport = httpx.ASGITransport(app=guard)
            async with httpx.AsyncClient(transport=transport, base_url=HOME) as client:
                pairs = [("host", host)] if isinstance(host, str) else host
                pairs = [*pairs, *(headers or {}).items()]
                request = client.build_request(
                    method, f"{HOME}{path}", headers=pairs, content=content
                )
                return await client.send(request)

        return asyncio.run(sent())

    asked.guard = guard
    return asked


def connect(guard, *, host=HOST, headers=()):
    """Ask for a websocket; return the messages that came back."""
    sent = []

    async def receive():
        return {"type": "websocket.connect"}

    async def send(message):
        sent.append(message)

    pairs = [("host", host), *dict(headers).items()]
    scope = {
        "type": "websocket",
        "path": "/_nicegui_ws/socket.io/",
        "query_string": b"EIO=4&transport=websocket",
        "headers": [(k.encode(), v.encode()) for k, v in pairs],
    }
    asyncio.run(guard(scope, receive, send))
    return [message["type"] for message in sent]


# ----------------------------------------------------------------------- key


def test_without_key_nothing_is_reached(ask, inside):
    for path in ("/", "/piece?file=x.toml", "/_nicegui/3/static/nicegui.js", "/x/../y"):
        found = ask(path=path)
        assert found.status_code == 403
        assert "tintlab page" in found.text
    assert inside.reached == []


@pytest.mark.parametrize("key", ["", "wrong", DOOR.secret[:-1], DOOR.pass_, "é"])
def test_a_wrong_key_is_403_and_gives_no_cookie(ask, inside, key):
    found = ask(path=f"/?secret={key}")
    assert found.status_code == 403
    assert "set-cookie" not in found.headers
    assert inside.reached == []


def test_the_key_becomes_a_cookie_and_leaves_the_address(ask, inside):
    found = ask(path=f"/piece?a=1&secret={DOOR.secret}&b=x%20y")
    assert found.status_code == 303
    assert found.headers["location"] == f"{HOME}/piece?a=1&b=x+y"
    assert inside.reached == []
    cookie = SimpleCookie(found.headers["set-cookie"])[DOOR.cookie]
    assert cookie["httponly"]
    assert cookie["samesite"] == "Strict"
    assert cookie["path"] == "/"
    assert cookie["domain"] == cookie["max-age"] == ""  # this host, this session
    assert DOOR.secret not in found.headers["set-cookie"]
    assert ask(headers={"cookie": f"{DOOR.cookie}={cookie.value}"}).text == "inside"


def test_the_redirect_leads_nowhere_else(ask):
    for path in ("//evil.example/x", "/%2f%2fevil.example", "/\\evil.example"):
        found = ask(path=f"{path}?secret={DOOR.secret}")
        assert found.status_code == 303
        assert found.headers["location"].startswith(f"{HOME}/")
        assert "\r" not in found.headers["location"]


def test_an_old_address_with_a_good_cookie_is_cleaned(ask):
    found = ask(path="/?secret=old", headers=COOKIE)
    assert found.status_code == 303
    assert found.headers["location"] == f"{HOME}/"


def test_a_ticket_opens_once(ask):
    ticket = ask.guard.ticket()
    assert ask("HEAD", f"/?secret={ticket}").status_code == 403  # and it stays good
    assert ask(path=f"/?secret={ticket}").status_code == 303
    assert ask(path=f"/?secret={ticket}").status_code == 403


@pytest.mark.parametrize(
    "cookie",
    [
        f"{DOOR.cookie}={DOOR.secret}",
        f"{DOOR.cookie}=",
        f"tintlab-1={DOOR.pass_}",
        f"x{DOOR.cookie}={DOOR.pass_}",
        DOOR.cookie,
        f"{DOOR.cookie}={DOOR.pass_}x",
    ],
)
def test_a_wrong_or_old_cookie_is_told_what_to_do(ask, inside, cookie):
    found = ask(headers={"cookie": cookie})
    assert found.status_code == 403
    assert "earlier" in found.text
    assert "Nothing is lost" in found.text
    assert inside.reached == []


def test_a_cookie_among_others_is_found(ask):
    headers = {"cookie": f"a=b; {DOOR.cookie}={DOOR.pass_} ;c=d"}
    assert ask(headers=headers).text == "inside"


def test_secrets_are_long_differ_and_are_not_shown():
    doors = [Door(hosts=(HOST,)) for _ in range(20)]
    found = {s for door in doors for s in (door.secret, door.pass_)}
    assert len(found) == 40
    assert min(map(len, found)) >= 43  # 32 bytes in base64
    assert not any(secret in repr(doors) for secret in found)


# ---------------------------------------------------------------------- host


@pytest.mark.parametrize("host", DOOR.hosts)
def test_every_own_address_answers(ask, host):
    assert ask(host=host, headers=COOKIE).text == "inside"
    assert ask(host=host.upper(), headers=COOKIE).text == "inside"


@pytest.mark.parametrize(
    "host",
    [
        *("evil.example", "evil.example:4321", "127.0.0.1", "127.0.0.1:80", ""),
        *("localhost", "127.0.0.1:4321.evil.example", "127.0.0.1.nip.example:4321"),
        *("[::1]", "0.0.0.0:4321", "192.168.1.6:4321", "user@127.0.0.1:4321"),
    ],
)
def test_any_other_host_is_421_with_the_right_key_and_cookie(ask, inside, host):
    for path in ("/", f"/?secret={DOOR.secret}"):
        found = ask(path=path, host=host, headers=COOKIE)
        assert found.status_code == 421
        assert "set-cookie" not in found.headers
        assert "location" not in found.headers
        assert not host or host not in str(found.headers) + found.text
    assert inside.reached == []
    assert connect(ask.guard, host=host, headers=OWN) == ["websocket.close"]


def test_two_hosts_are_none(ask, inside):
    for other in (HOST, "evil.example"):
        found = ask(host=[("host", HOST), ("host", other)], headers=COOKIE)
        assert found.status_code == 421
    assert inside.reached == []


# -------------------------------------------------------------------- origin

FOREIGN = [
    *("http://evil.example", "null", "", "https://127.0.0.1:4321", "file://"),
    *("http://127.0.0.1:9999", "http://localhost:4321", f"{HOME}.evil.example"),
    *(f"http://evil.example/{HOST}", f"{HOME}/", f"{HOME}, http://evil.example"),
]


@pytest.mark.parametrize("origin", FOREIGN)
def test_a_foreign_origin_cannot_connect_send_or_read(ask, inside, origin):
    headers = {**COOKIE, "origin": origin}
    assert connect(ask.guard, headers=headers) == ["websocket.close"]
    assert (
        ask("POST", "/_nicegui/client/1/upload/2", headers=headers).status_code == 403
    )
    assert ask("GET", "/_nicegui_ws/socket.io/", headers=headers).status_code == 403
    assert inside.reached == []


def test_the_own_origin_connects_and_sends(ask, inside):
    assert connect(ask.guard, headers=OWN) == ["websocket.accept"]
    assert ask("POST", "/x", headers=OWN, content=b"abc").text == "inside"
    assert inside.read == 3


def test_a_websocket_needs_the_cookie_too(ask, inside):
    assert connect(ask.guard, headers={"origin": HOME}) == ["websocket.close"]
    key = {"origin": HOME, "cookie": f"{DOOR.cookie}={DOOR.secret}"}
    assert connect(ask.guard, headers=key) == ["websocket.close"]
    assert inside.reached == []


def test_sending_without_an_origin_is_refused(ask, inside):
    assert connect(ask.guard, headers=COOKIE) == ["websocket.close"]
    assert ask("POST", "/x", headers=COOKIE).status_code == 403
    assert inside.reached == []


def test_a_key_is_not_taken_by_post(ask):
    found = ask("POST", f"/?secret={DOOR.secret}", headers={"origin": HOME})
    assert found.status_code == 403
    assert "set-cookie" not in found.headers


@pytest.mark.parametrize("site", ["cross-site", "same-site", "strange"])
@pytest.mark.parametrize(
    ("mode", "dest"), [("no-cors", "image"), ("navigate", "iframe"), ("cors", "empty")]
)
def test_no_other_page_may_embed_anything(ask, inside, site, mode, dest):
    # a page on another port of this computer is "same-site": its requests carry the
    # cookie, SameSite or not
    fetch = {"sec-fetch-site": site, "sec-fetch-mode": mode, "sec-fetch-dest": dest}
    assert ask(
        "GET", "/picture?file=a.png", headers={**COOKIE, **fetch}
    ).status_code == (403)
    assert inside.reached == []


def test_a_link_may_lead_here(ask):
    fetch = {"sec-fetch-mode": "navigate", "sec-fetch-dest": "document"}
    for site in ("none", "same-origin", "cross-site"):
        headers = {**COOKIE, **fetch, "sec-fetch-site": site}
        assert ask(headers=headers).status_code == 200


@pytest.mark.parametrize("method", ["PUT", "DELETE", "OPTIONS", "TRACE", "PATCH"])
def test_other_methods_are_405(ask, inside, method):
    found = ask(method, "/", headers=OWN)
    assert found.status_code == 405
    assert "access-control-allow-origin" not in found.headers
    assert inside.reached == []


# ---------------------------------------------------------------------- size


def test_a_body_that_says_it_is_too_large_is_not_read(ask, inside):
    upload = f"{UPLOADS}1/upload/2"
    for path, size in ((upload, MOST_UPLOAD + 1), ("/x", MOST_BODY + 1)):
        headers = {**OWN, "content-length": str(size)}
        found = ask("POST", path, headers=headers, content=b"")
        assert found.status_code == 413
        assert "too large" in found.text
        assert found.headers["connection"] == "close"
    assert inside.reached == []


@pytest.mark.parametrize("length", ["-1", "1e3", "٣", "x", "+5"])
def test_a_strange_length_is_refused(inside, length):
    status = raw(Guard(inside, DOOR), [b""], length.encode())
    assert status == [413]
    assert inside.reached == []


def raw(guard, parts, length=None, path="/x"):
    """Send a body in parts, with a length or none; return the statuses."""
    waiting = [{"type": "http.request", "body": b, "more_body": True} for b in parts]
    sent = []

    async def receive():
        if waiting:
            return waiting.pop(0)
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message):
        sent.append(message)

    headers = [(k.encode(), v.encode()) for k, v in {**OWN, "host": HOST}.items()]
    scope = {
        "type": "http",
        "method": "POST",
        "path": path,
        "query_string": b"",
        "headers": [
            *headers,
            *([] if length is None else [(b"content-length", length)]),
        ],
    }
    asyncio.run(guard(scope, receive, send))
    return [m["status"] for m in sent if m["type"] == "http.response.start"]


def test_a_body_without_a_length_is_cut_when_it_grows_too_long(inside):
    guard = Guard(inside, DOOR)
    part = b"x" * 500_000
    assert raw(guard, [part] * 4) == [200]
    assert raw(guard, [part] * 400) == [413]
    assert inside.read <= MOST_BODY * 2 + len(part)
    assert raw(guard, [part] * 5, path=f"{UPLOADS}1/upload/2") == [200]


def test_a_mistake_of_the_application_is_not_swallowed():
    async def broken(_scope, _receive, _send):
        raise ClientDisconnect

    with pytest.raises(ClientDisconnect):
        raw(Guard(broken, DOOR), [])


# ------------------------------------------------------------------- headers


@pytest.mark.parametrize(
    ("path", "headers"),
    [
        ("/", COOKIE),
        ("/", {}),
        (f"/?secret={DOOR.secret}", {}),
        ("/_nicegui/x", COOKIE),
    ],
)
def test_every_answer_carries_the_headers(ask, path, headers):
    found = ask(path=path, headers=headers).headers
    assert found["x-frame-options"] == "DENY"  # and not what the application said
    assert len(found.get_list("x-frame-options")) == 1
    assert found["x-content-type-options"] == "nosniff"
    assert found["referrer-policy"] == "no-referrer"
    assert found["cross-origin-resource-policy"] == "same-origin"
    assert (found.get("cache-control") == "no-store") == ("_nicegui" not in path)
    policy = found["content-security-policy"]
    for word in ("default-src 'self'", "frame-ancestors 'none'", "object-src 'none'"):
        assert word in policy
    places = set(re.findall(r"[a-z]+://[^\s;]+|\*", policy))
    assert places <= {f"ws://{HOST}"}  # no other place at all


def test_head_has_no_body(ask):
    found = ask("HEAD", "/")
    assert found.status_code == 403
    assert found.content == b""
    assert int(found.headers["content-length"]) > 100


def test_lifespan_passes():
    reached = []

    async def app(scope, _receive, _send):
        reached.append(scope["type"])

    asyncio.run(Guard(app, DOOR)({"type": "lifespan"}, None, None))
    assert reached == ["lifespan"]
