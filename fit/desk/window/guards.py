"""What stands in front of every request: the right host, the right origin, the token; and what every answer forbids a browser."""

import hmac
from collections.abc import Awaitable, Callable, MutableMapping
from http.cookies import CookieError, SimpleCookie
from typing import Any
from urllib.parse import parse_qs

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

READING = ("GET", "HEAD")
MAX_QUERY_BYTES = 8192  # a link to the settings of a whole guitar has some 1500
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; connect-src 'self'; "
    "media-src blob:; worker-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
# A page that lies in the logbook, whoever wrote it: it has its style in itself, runs nothing, and is nobody's origin.
KEPT_POLICY = (
    "sandbox; default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'none'"
)
HEADERS = (
    (b"content-security-policy", POLICY.encode()),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"referrer-policy", b"no-referrer"),
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"cache-control", b"no-store"),
)
UNWANTED = 4403  # close code of a socket that is accepted by no page of ours


def cookie_name(port: int) -> str:
    """Name of the cookie; a browser sends those of one host to all of its ports, so each server has a name of its own."""
    return f"coilsweep-{port}"


class Guard:
    """Lets through what a page of this server asks, and nothing else.

    Parameters
    ----------
    app : callable
        What is guarded (ASGI).
    port : int
        That this server listens at.
    token : str
        Whoever knows it may look and play.
    """

    def __init__(self, app: App, *, port: int, token: str) -> None:
        """Keep what is compared."""
        self._app, self._token, self._port = app, token, port
        self._hosts = {f"127.0.0.1:{port}", f"localhost:{port}"}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Judge a request, and hand it on."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        status, text = self._judge(scope)
        if status == 200:
            await self._app(scope, receive, _with_headers(send) if scope["type"] == "http" else send)
        elif status == 303:
            cookie = f"{cookie_name(self._port)}={self._token}; HttpOnly; SameSite=Strict; Path=/"
            await _answer(send, status, "", ((b"location", b"/"), (b"set-cookie", cookie.encode())))
        elif scope["type"] == "websocket":
            await _turn_away(scope, receive, send, status, text)
        else:
            await _answer(send, status, text)

    def _judge(self, scope: Scope) -> tuple[int, str]:
        """Tell by which status a request is answered, and why."""
        headers: dict[bytes, list[str]] = {}
        for name, value in scope["headers"]:
            headers.setdefault(name.lower(), []).append(value.decode("latin-1"))
        hosts, origins = headers.get(b"host", []), headers.get(b"origin", [])
        if len(hosts) != 1 or hosts[0].lower() not in self._hosts:
            return 403, "this server answers to 127.0.0.1 and localhost alone"
        is_reading = scope["type"] == "http" and scope["method"] in READING
        if (origins or not is_reading) and origins != [f"http://{hosts[0].lower()}"]:
            return 403, "only pages of this server may ask"
        if len(scope.get("query_string", b"")) > MAX_QUERY_BYTES:
            return 414, "the address is too long"
        token = _token_of(scope) if is_reading else None
        if token is not None:
            return (303, "") if self._is_token(token) else (401, "the token is not that of this server")
        if not any(self._is_token(one) for one in _cookies(headers.get(b"cookie", []), cookie_name(self._port))):
            return 401, "open the address that coilsweep bench has printed: it has a token that lets you in"
        if scope["type"] == "http" and not is_reading:
            return 405, "nothing is changed by a request: pages speak over the socket"
        return 200, ""

    def _is_token(self, text: str) -> bool:
        return hmac.compare_digest(text.encode("utf-8", "surrogateescape"), self._token.encode())


def _token_of(scope: Scope) -> str | None:
    """Token in the address of the first page; None where there is none."""
    if scope.get("path") != "/":
        return None
    query = parse_qs(scope.get("query_string", b"").decode("latin-1"))
    return query["token"][0] if "token" in query else None


def _cookies(headers: list[str], name: str) -> list[str]:
    found = []
    for header in headers:
        try:
            cookie = SimpleCookie(header)
        except CookieError:
            continue
        found += [cookie[name].value] if name in cookie else []
    return found


def _with_headers(send: Send) -> Send:
    async def guarded(message: Message) -> None:
        if message["type"] == "http.response.start":
            own = list(message.get("headers", ()))
            stated = {name for name, _ in own}  # a kept page has a policy of its own
            message = {**message, "headers": [*own, *(header for header in HEADERS if header[0] not in stated)]}
        await send(message)

    return guarded


async def _answer(send: Send, status: int, text: str, headers: tuple[tuple[bytes, bytes], ...] = ()) -> None:
    body = f"{text}\n".encode() if text else b""
    own = ((b"content-type", b"text/plain; charset=utf-8"), (b"content-length", str(len(body)).encode()), *headers)
    await send({"type": "http.response.start", "status": status, "headers": [*own, *HEADERS]})
    await send({"type": "http.response.body", "body": body})


async def _turn_away(scope: Scope, receive: Receive, send: Send, status: int, text: str) -> None:
    """Refuse a socket before it is one, by the status where the server can tell it."""
    await receive()
    if "websocket.http.response" in scope.get("extensions", {}):
        body = f"{text}\n".encode()
        headers = [(b"content-type", b"text/plain; charset=utf-8"), (b"content-length", str(len(body)).encode())]
        await send({"type": "websocket.http.response.start", "status": status, "headers": headers})
        await send({"type": "websocket.http.response.body", "body": body})
    else:
        await send({"type": "websocket.close", "code": UNWANTED, "reason": text})
