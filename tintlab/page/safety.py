"""Who may use the page: the one who holds the key, from a page of ours; no one else.

The page runs beside every site that the maker has open, so each request is judged
before anything of it is read: its Host (a hostile name that resolves to this computer
is refused: DNS rebinding), its Origin (no other site may send or connect), its key (a
random secret in the address, changed into a cookie at once and taken out of the
address) and its size. The rules follow RFC 6265bis (SameSite), RFC 9110 (421, 413) and
the Fetch standard (Origin, Sec-Fetch-Site).
"""

import html
import secrets
from collections.abc import Awaitable, Callable, MutableMapping
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import parse_qsl, quote, urlencode

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

MOST_UPLOAD = 100_000_000  # [bytes]; a raw photo of 48 million pixels has some 75 MB
MOST_BODY = 2_000_000  # [bytes] of anything that is no upload
UPLOADS = "/_nicegui/client/"
ASSETS = "/_nicegui/"
READING = ("GET", "HEAD")
KEY = "secret"


@dataclass(frozen=True, slots=True, kw_only=True)
class Door:
    """What opens the page.

    Attributes
    ----------
    hosts : tuple of str
        The addresses with port under which it answers.
    secret : str
        In the address that is printed.
    pass_ : str
        In the cookie.
    """

    hosts: tuple[str, ...]
    secret: str = field(default_factory=lambda: secrets.token_urlsafe(32), repr=False)
    pass_: str = field(default_factory=lambda: secrets.token_urlsafe(32), repr=False)

    @property
    def cookie(self) -> str:
        """Name of the cookie; cookies know no ports, so the name tells them apart."""
        return f"tintlab-{self.hosts[0].rpartition(':')[2]}"

    def address(self, host: str | None = None, key: str | None = None) -> str:
        """Return the address that opens the page, with its key."""
        return f"http://{host or self.hosts[0]}/?{KEY}={key or self.secret}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What a request says about itself; every header as often as it was sent."""

    kind: str
    method: str
    path: str
    query: tuple[tuple[str, str], ...]
    headers: tuple[tuple[str, str], ...]

    def header(self, name: str) -> str | None:
        """Return a header that was sent once, or None."""
        found = self.all(name)
        return found[0] if len(found) == 1 else None

    def all(self, name: str) -> list[str]:
        """Return every value of a header."""
        return [value for key, value in self.headers if key == name]

    @property
    def writes(self) -> bool:
        """Whether it can change something: all but plain reading."""
        return self.kind == "websocket" or self.method not in READING


@dataclass(frozen=True, slots=True, kw_only=True)
class Refusal:
    """Why a request is turned away: HTTP status, a title, what to do."""

    status: int
    title: str
    text: str


LOCKED = Refusal(
    status=403,
    title="This page needs its key",
    text="The address came without the key that belongs to it, or with the key of an "
    "earlier run. Go to the window in which “tintlab page” runs and open the address "
    "that stands there; if it runs no more, start it again. Nothing is lost: what an "
    "earlier run had not saved is kept beside its file and comes back with it.",
)
FOREIGN = Refusal(
    status=403,
    title="Another site asked for this",
    text="A page that is not tintlab's own tried to use it, and was refused. If that "
    "was you, open the address that “tintlab page” printed.",
)
MISDIRECTED = Refusal(
    status=421,
    title="This is not the address of this page",
    text="tintlab answers only under the address that “tintlab page” printed; open "
    "that one.",
)
TOO_LARGE = Refusal(
    status=413,
    title="This file is too large",
    text=f"At most {MOST_UPLOAD / 1e6:.0f} MB can be uploaded at once; take the photo "
    "with a smaller picture size, or save it as JPEG.",
)
NO_SUCH_METHOD = Refusal(
    status=405,
    title="This is not done here",
    text="Pages are read and forms are sent here, nothing else.",
)


def refusal(asked: Asked, door: Door) -> Refusal | None:
    """Judge a request by everything but its key.

    Parameters
    ----------
    asked : Asked
    door : Door

    Returns
    -------
    Refusal or None
        None when the request comes from a page of ours, or from no page at all.
    """
    host = (asked.header("host") or "").lower()
    if host not in door.hosts:
        return MISDIRECTED
    if asked.kind == "http" and asked.method not in (*READING, "POST"):
        return NO_SUCH_METHOD
    origins = asked.all("origin")
    if any(origin.lower() != f"http://{host}" for origin in origins):
        return FOREIGN
    if asked.writes and len(origins) != 1:
        return FOREIGN
    site = asked.header("sec-fetch-site") or "none"
    opened = (asked.header("sec-fetch-mode"), asked.header("sec-fetch-dest"))
    if site not in ("same-origin", "none") and opened != ("navigate", "document"):
        return FOREIGN  # a picture, a script or a frame in a page of another site
    return None if not _too_long(asked) else TOO_LARGE


def _limit(asked: Asked) -> int:
    return MOST_UPLOAD if asked.path.startswith(UPLOADS) else MOST_BODY


def _too_long(asked: Asked) -> bool:
    lengths = asked.all("content-length")
    return any(not n.isascii() or not n.isdigit() for n in lengths) or any(
        int(n) > _limit(asked) for n in lengths
    )


def holds_pass(asked: Asked, door: Door) -> bool:
    """Tell whether a request carries the cookie."""
    parts = (part.strip() for line in asked.all("cookie") for part in line.split(";"))
    start = f"{door.cookie}="
    values = [part.removeprefix(start) for part in parts if part.startswith(start)]
    return any(_same(value, door.pass_) for value in values)


def _same(a: str, b: str) -> bool:
    return secrets.compare_digest(a.encode(), b.encode())


def response_headers(host: str, *, asset: bool) -> dict[str, str]:
    """Return the headers that every answer carries.

    Vue compiles its templates in the browser, so scripts may be inline and evaluated;
    nothing may come from, or go to, any other place than this server.
    """
    # only for addresses that a browser trusts without encryption (W3C Secure Contexts)
    local = host.startswith(("127.0.0.1:", "localhost:", "[::1]:"))
    opener = {"cross-origin-opener-policy": "same-origin"} if local else {}
    content = {
        "default-src": "'self'",
        "script-src": "'self' 'unsafe-inline' 'unsafe-eval'",
        "style-src": "'self' 'unsafe-inline'",
        "img-src": "'self' data: blob:",
        "font-src": "'self' data:",
        "connect-src": f"'self' ws://{host}" if host else "'self'",
        "object-src": "'none'",
        "base-uri": "'none'",
        "form-action": "'self'",
        "frame-ancestors": "'none'",
    }
    return {
        "content-security-policy": "; ".join(f"{k} {v}" for k, v in content.items()),
        "x-frame-options": "DENY",
        "x-content-type-options": "nosniff",
        "referrer-policy": "no-referrer",
        "cross-origin-resource-policy": "same-origin",
        **opener,
        "permissions-policy": "camera=(), microphone=(), geolocation=(), usb=()",
        **({} if asset else {"cache-control": "no-store"}),
    }


class Guard:
    """The outermost application: nothing of `app` is reached but through it.

    Parameters
    ----------
    app : ASGI application
    door : Door
    """

    def __init__(self, app: App, door: Door) -> None:
        self.app = app
        self.door = door
        self._tickets: set[str] = set()

    def ticket(self) -> str:
        """Return a key that opens once.

        A browser that is started by a program gets its address on a command line, which
        other users of the computer can read; they should not find the secret there.
        """
        ticket = secrets.token_urlsafe(32)
        self._tickets.add(ticket)
        return ticket

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one connection."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        asked = _asked(scope)
        refused = refusal(asked, self.door)
        if refused is not None:
            await _refuse(refused, asked, send)
            return
        key = next((value for name, value in asked.query if name == KEY), None)
        if key is not None and (asked.kind, asked.method) == ("http", "GET"):
            await self._changed_key(key, asked, send)
        elif holds_pass(asked, self.door):
            await self._let_in(asked, scope, receive, send)
        else:
            await _refuse(LOCKED, asked, send)

    async def _changed_key(self, key: str, asked: Asked, send: Send) -> None:
        """Change the key in an address into a cookie and clean the address."""
        known = holds_pass(asked, self.door)
        if not known and not self._opens(key):
            await _refuse(LOCKED, asked, send)
            return
        rest = urlencode([pair for pair in asked.query if pair[0] != KEY])
        place = quote(asked.path) + (f"?{rest}" if rest else "")
        headers = {
            # absolute, so that a path like //elsewhere stays a path
            "location": f"http://{asked.header('host')}{place}",
            "set-cookie": f"{self.door.cookie}={self.door.pass_}; Path=/; HttpOnly; "
            "SameSite=Strict",
        }
        await _answer(303, b"", headers, asked, send)

    def _opens(self, key: str) -> bool:
        spent = next((t for t in self._tickets if _same(t, key)), None)
        self._tickets.discard(spent or "")
        return spent is not None or _same(key, self.door.secret)

    async def _let_in(
        self, asked: Asked, scope: Scope, receive: Receive, send: Send
    ) -> None:
        if asked.kind == "websocket":
            await self.app(scope, receive, send)
            return
        body = _Body(asked, receive, send)
        try:
            await self.app(scope, body.receive, body.send)
        except Exception:
            if not body.cut:
                raise


class _Body:
    """The body of one request, cut off when it grows too long on the way."""

    def __init__(self, asked: Asked, receive: Receive, send: Send) -> None:
        self._asked, self._receive, self._send = asked, receive, send
        self._length = 0
        self._begun = False
        self.cut = False

    async def receive(self) -> Message:
        """Hand on the next part of the body."""
        message = await self._receive()
        self._length += len(message.get("body", b""))
        if self._length <= _limit(self._asked):
            return message
        if not self.cut and not self._begun:
            await _refuse(TOO_LARGE, self._asked, self._send)
        self.cut = True
        return {"type": "http.disconnect"}

    async def send(self, message: Message) -> None:
        """Hand on an answer, with the headers that belong to each."""
        if self.cut:
            return
        if message["type"] == "http.response.start":
            self._begun = True
            message = {**message, "headers": self._headers(message)}
        await self._send(message)

    def _headers(self, message: Message) -> list[tuple[bytes, bytes]]:
        ours = _own_headers(self._asked)
        given = [
            (name, value)
            for name, value in message.get("headers", [])
            if name.decode("latin-1").lower() not in ours
        ]
        return [*given, *_encoded(ours)]


def _asked(scope: Scope) -> Asked:
    query = scope.get("query_string", b"").decode("latin-1")
    return Asked(
        kind=scope["type"],
        method=scope.get("method", "GET"),
        path=scope["path"],
        query=tuple(parse_qsl(query, keep_blank_values=True)),
        headers=tuple(
            (name.decode("latin-1").lower(), value.decode("latin-1"))
            for name, value in scope["headers"]
        ),
    )


def _own_headers(asked: Asked) -> dict[str, str]:
    return response_headers(
        asked.header("host") or "", asset=asked.path.startswith(ASSETS)
    )


def _encoded(headers: dict[str, str]) -> list[tuple[bytes, bytes]]:
    return [(k.encode("latin-1"), v.encode("latin-1")) for k, v in headers.items()]


async def _refuse(refused: Refusal, asked: Asked, send: Send) -> None:
    if asked.kind == "websocket":  # before it is accepted; the server answers 403
        await send({"type": "websocket.close", "code": 1008, "reason": refused.title})
        return
    headers = {
        "content-type": "text/html; charset=utf-8",
        "connection": "close",  # the rest of a body is not waited for
        **({"allow": "GET, HEAD, POST"} if refused.status == 405 else {}),
    }
    # the Host of a refused request is not repeated in what is sent back
    safe = Asked(kind="http", method=asked.method, path="/", query=(), headers=())
    await _answer(refused.status, page(refused).encode(), headers, safe, send)


async def _answer(
    status: int, body: bytes, headers: dict[str, str], asked: Asked, send: Send
) -> None:
    own = {**_own_headers(asked), **headers, "content-length": str(len(body))}
    await send(
        {"type": "http.response.start", "status": status, "headers": _encoded(own)}
    )
    body = b"" if asked.method == "HEAD" else body
    await send({"type": "http.response.body", "body": body})


def page(refused: Refusal) -> str:
    """Return a page that says why and what to do; it needs nothing else."""
    title, text = html.escape(refused.title), html.escape(refused.text)
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{title}</title><style>"
        ":root{color-scheme:light dark;font:1.1rem/1.6 system-ui,sans-serif}"
        "body{margin:0;display:grid;min-height:100vh;place-items:center}"
        "main{max-width:34rem;padding:2rem}h1{font-size:1.5rem;line-height:1.25}"
        "a{color:inherit}</style></head><body><main>"
        f'<h1>{title}</h1><p>{text}</p><p><a href="/">Try again</a></p>'
        "</main></body></html>"
    )
