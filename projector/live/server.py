"""The server of the live page: its files, the list of scenes, dropped stencils, and one websocket a page."""

from __future__ import annotations

import asyncio
import logging
import secrets
import socket
from collections import deque
from collections.abc import Callable
from contextlib import asynccontextmanager, suppress
from pathlib import Path

from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response
from starlette.routing import Mount, Route, WebSocketRoute
from starlette.staticfiles import StaticFiles
from starlette.websockets import WebSocket, WebSocketDisconnect

from projector.faults import Fault, SceneError
from projector.live.conversation import Conversation, Desks
from projector.live.described import fault_shown
from projector.live.guards import Guard, Pace
from projector.live.jobs import Renderer
from projector.live.scenes import SceneList
from projector.live.uploads import MOST_BYTES, taken, too_large

_LOG = logging.getLogger(__name__)
STATIC = Path(__file__).with_name("static")
LOCALHOST = "127.0.0.1"
_MOST_MESSAGE_BYTES = 1 << 18
_MOST_WAITING = 2000
_SECONDS_BETWEEN_LOOKS = 1.0


class Outbox:
    """What waits to be sent to a page. A picture takes the place of one that was not sent yet: nobody wants to see the
    old one. put: from any thread.
    """

    def __init__(self, loop: asyncio.AbstractEventLoop):
        self._loop, self._waiting, self._news = loop, deque[str | bytes](), asyncio.Event()

    def put(self, item: str | bytes) -> None:
        """Hand something over; after the page went away it is dropped."""
        with suppress(RuntimeError):  # the loop has ended
            self._loop.call_soon_threadsafe(self._put, item)

    def _put(self, item: str | bytes) -> None:
        if isinstance(item, bytes):
            self._waiting = deque(other for other in self._waiting if isinstance(other, str))
        if len(self._waiting) < _MOST_WAITING:
            self._waiting.append(item)
        self._news.set()

    async def take(self) -> str | bytes:
        """The next thing to send."""
        while not self._waiting:
            self._news.clear()
            await self._news.wait()
        return self._waiting.popleft()


def application(scenes: SceneList, token: str, hosts: list[str], threads: int | None = None) -> Starlette:
    """The server as an ASGI application. hosts: what it is called, with its port; threads: to render with."""
    renderer = Renderer(threads)
    desks = Desks(scenes, renderer)

    @asynccontextmanager
    async def life(_app):
        yield
        await asyncio.to_thread(renderer.close)

    async def page(_request: Request) -> Response:
        return FileResponse(STATIC / "index.html")

    async def listed(_request: Request) -> Response:
        found = await asyncio.to_thread(scenes.listed)
        return JSONResponse({"scenes": found, "first": scenes.first_name, "folder": str(scenes.folder)})

    async def dropped(request: Request) -> Response:
        return await _dropped(request, scenes.folder)

    async def desk(websocket: WebSocket) -> None:
        await _converse(websocket, desks)

    routes = [
        Route("/", page),
        Route("/scenes", listed),
        Route("/stencil", dropped, methods=["POST"]),
        WebSocketRoute("/desk", desk),
        Mount("/static", StaticFiles(directory=STATIC)),
    ]
    guard = Middleware(Guard, token=token, hosts=hosts)
    return Starlette(routes=[Mount(f"/{token}", routes=routes)], middleware=[guard], lifespan=life)


async def _dropped(request: Request, folder: Path) -> Response:
    try:
        told = request.headers.get("content-length", "0")
        if not told.isdecimal() or int(told) > MOST_BYTES:
            raise too_large()
        return JSONResponse({"file": await taken(request.query_params.get("name", ""), request.stream(), folder)})
    except SceneError as error:
        _LOG.warning("a dropped file was refused: %s", error.faults[0].found)
        return JSONResponse({"faults": [fault_shown(fault) for fault in error.faults]}, 422)
    except OSError as error:
        return JSONResponse({"faults": [fault_shown(Fault(f"it cannot be written: {error.strerror}"))]}, 422)


async def _converse(websocket: WebSocket, desks: Desks) -> None:
    """Everything that is said with one page, until it goes."""
    await websocket.accept()
    outbox, turn = Outbox(asyncio.get_running_loop()), asyncio.Lock()
    conversation, pace = Conversation(desks, outbox.put), Pace()

    async def listen() -> None:
        while True:
            text = await websocket.receive_text()
            if pace.is_flood():
                _LOG.warning("a page was cut off: a flood of messages")
                await websocket.close(1008, "too many messages")
                return
            async with turn:
                await asyncio.to_thread(conversation.hear, text)

    async def speak() -> None:
        while True:
            item = await outbox.take()
            await (websocket.send_bytes(item) if isinstance(item, bytes) else websocket.send_text(item))

    async def look() -> None:
        while True:
            await asyncio.sleep(_SECONDS_BETWEEN_LOOKS)
            async with turn:
                await asyncio.to_thread(conversation.follow_file)

    tasks = [asyncio.create_task(part()) for part in (listen, speak, look)]
    try:
        done, _ = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
    finally:
        for task in tasks:
            task.cancel()
    for task in done:
        error = None if task.cancelled() else task.exception()
        # A text that is none (bytes, a broken frame) ends the talk as a page that goes does.
        if error is not None and not isinstance(error, (WebSocketDisconnect, KeyError, RuntimeError)):
            _LOG.error("a page was cut off", exc_info=error)
            with suppress(RuntimeError):
                await websocket.close(1011)


def listening(host: str = LOCALHOST, port: int = 0) -> socket.socket:
    """A socket that the server takes. SceneError where the port is taken, or may not be used."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    found = socket.socket(family, socket.SOCK_STREAM)
    try:
        found.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        found.bind((host, port))
    except OSError as error:
        found.close()
        words = f"{host}:{port} cannot be used: {error.strerror}"
        fault = Fault(
            words, "a free port, 1024 to 65535", "another port, or none", key="port", typed="leave --port out"
        )
        raise SceneError(fault) from None
    found.listen(64)
    return found


def serve(
    scenes: SceneList,
    taken_socket: socket.socket,
    started: Callable[[str], None] = lambda address: None,
    threads: int | None = None,
) -> None:
    """Serve until Ctrl-C. started: is called with the address once the page can be opened."""
    import uvicorn

    host, port = taken_socket.getsockname()[:2]
    token = secrets.token_urlsafe(18)
    hosts = [f"{name}:{port}" for name in dict.fromkeys((host, LOCALHOST, "localhost"))]
    settings = uvicorn.Config(
        application(scenes, token, hosts, threads),
        log_level="warning",
        ws_max_size=_MOST_MESSAGE_BYTES,
        ws_per_message_deflate=False,
        timeout_graceful_shutdown=2,
        server_header=False,
    )

    class Server(uvicorn.Server):
        async def startup(self, sockets=None):
            await super().startup(sockets)
            started(f"http://{hosts[0]}/{token}/")

    with suppress(KeyboardInterrupt):
        Server(settings).run([taken_socket])
