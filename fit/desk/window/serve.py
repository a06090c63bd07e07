"""The server of the pages: at 127.0.0.1 alone, with a token in the address that it opens, gone within two seconds of Ctrl-C."""

from __future__ import annotations

import asyncio
import contextlib
import importlib.util
import os
import secrets
import socket
import sys
import threading
from collections.abc import AsyncIterator, Callable
from typing import TYPE_CHECKING, Any

from fit.desk.book.desk import Desk, Outcome
from fit.desk.show.document.bench import BenchDocument
from fit.desk.window.guards import KEPT_POLICY, Guard
from fit.desk.window.hub import Hub, Place, Player, Worker
from fit.desk.window.messages import MAX_MESSAGE_BYTES
from fit.desk.window.pages import ASSETS, PAGES, asset, kept_page
from measure.errors import FileError

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response
    from starlette.websockets import WebSocket

NEEDED = ("starlette", "uvicorn", "websockets")
HOST = "127.0.0.1"
TOKEN_BYTES = 32
LEAVE_S = 1  # [s] that open sockets may take when the server goes


def open_bench(desk: Desk, *, is_virtual: bool, port: int, opens: bool) -> Outcome:
    """Serve the pages until Ctrl-C.

    Parameters
    ----------
    port : int
        0 for one that is free.
    opens : bool
        Open the first page in the person's browser.

    Raises
    ------
    ValueError
        If a package is missing that the server needs, or the port is taken.
    """
    import webbrowser

    from fit.desk.window.card import CardProcess
    from fit.desk.window.worker import Processes

    missing = [name for name in NEEDED if importlib.util.find_spec(name) is None]
    if missing:
        msg = f"the bench in a window needs {', '.join(missing)}: python -m pip install 'coilsweep[bench]'"
        raise ValueError(msg)
    try:
        sock = listen_at(port)
    except OSError as err:
        msg = f"port {port} cannot be had ({err.strerror}): choose another one, or leave --port out"
        raise ValueError(msg) from err
    addresses: list[str] = []

    def ready(address: str) -> None:
        addresses.append(address)
        desk.tell(f"The bench is open at {address}")
        desk.say("Only this machine can open it. Ctrl-C ends it.")
        if opens and _has_display():
            threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()

    place = Place(logbook=desk.logbook, is_virtual=is_virtual)
    with contextlib.suppress(KeyboardInterrupt):  # the way to end it
        run_server(place, sock=sock, player=CardProcess(), worker=Processes(), ready=ready)
    return Outcome(document=BenchDocument(logbook=str(desk.logbook), simulated=is_virtual))


def _has_display() -> bool:
    """Whether a browser could show itself; one for letters alone would take the terminal."""
    return sys.platform in ("win32", "darwin") or bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


def listen_at(port: int) -> socket.socket:
    """Open the port.

    Parameters
    ----------
    port : int
        0 for one that is free.

    Raises
    ------
    OSError
        If something else listens there.
    """
    sock = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    if os.name == "posix":  # a port that was ours a moment ago may be had again; elsewhere the option means something else
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        sock.bind((HOST, port))
        sock.listen()  # whoever opens the address before the server is ready waits for it
    except OSError:
        sock.close()
        raise
    return sock


def run_server(
    place: Place, *, sock: socket.socket, player: Player, worker: Worker, ready: Callable[[str], None], token: str = ""
) -> None:
    """Serve until Ctrl-C.

    Parameters
    ----------
    sock : socket
        From `listen_at`; closed at the end.
    ready : callable
        Is given the address with its token, once it can be opened.
    token : str
        A new one where it is left out.
    """
    import uvicorn

    port = sock.getsockname()[1]
    token = token or secrets.token_urlsafe(TOKEN_BYTES)
    hub = Hub(player=player, worker=worker, place=place)
    app = Guard(app_of(hub, lambda: ready(f"http://{HOST}:{port}/?token={token}")), port=port, token=token)
    config = uvicorn.Config(
        app,
        log_level="warning",
        access_log=False,
        server_header=False,
        date_header=False,
        lifespan="on",
        ws="websockets-sansio",
        ws_max_size=MAX_MESSAGE_BYTES,
        ws_per_message_deflate=False,
        timeout_graceful_shutdown=LEAVE_S,
    )
    uvicorn.Server(config).run(sockets=[sock])


def app_of(hub: Hub, ready: Callable[[], None]) -> Any:
    """Put pages, their files and the socket together."""
    from starlette.applications import Starlette
    from starlette.routing import Route, WebSocketRoute

    @contextlib.asynccontextmanager
    async def alive(_: Starlette) -> AsyncIterator[None]:
        watching = asyncio.create_task(hub.run())
        asyncio.get_running_loop().call_soon(ready)
        try:
            yield
        finally:
            watching.cancel()
            await hub.end()

    async def speak(socket: WebSocket) -> None:
        await hub.serve(socket)

    async def kept(request: Request) -> Response:
        from starlette.responses import HTMLResponse, PlainTextResponse

        try:
            content = kept_page(hub.place.logbook, request.path_params["name"])
        except FileError as err:
            return PlainTextResponse(f"{err}\n", status_code=404)
        return HTMLResponse(content, headers={"content-security-policy": KEPT_POLICY})

    routes = [Route(path, _page, methods=["GET"]) for path in PAGES]
    routes.append(Route("/assets/{name}", _file, methods=["GET"]))
    routes.append(Route("/kept/{name}", kept, methods=["GET"]))
    return Starlette(routes=[*routes, WebSocketRoute("/socket", speak)], lifespan=alive)


async def _page(request: Request) -> Response:
    from starlette.responses import HTMLResponse

    return HTMLResponse(PAGES[request.url.path]())


async def _file(request: Request) -> Response:
    from starlette.responses import PlainTextResponse, Response

    name = request.path_params["name"]
    if name not in ASSETS:
        return PlainTextResponse("there is no such file\n", status_code=404)
    try:
        return Response(asset(name), media_type=ASSETS[name])
    except OSError:
        return PlainTextResponse("there is no such file\n", status_code=404)
