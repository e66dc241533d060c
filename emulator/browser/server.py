"""The server: a page, its files, and a WebSocket for each viewer, in a thread of its own."""

from __future__ import annotations

import asyncio
import contextlib
import json
import logging
import socket
import threading
from collections import deque
from collections.abc import Awaitable, Callable
from pathlib import Path

from aiohttp import WSCloseCode, WSMsgType, web
from aiohttp.http import HttpProcessingError

from emulator.browser.facts import facts, numbers, style
from emulator.browser.frame import Frame
from emulator.browser.guard import Guard
from emulator.browser.painter import Painter, Picture, sizes
from emulator.browser.viewer import Malformed, Viewer
from emulator.clock import SECOND_NS, Clock, RealClock
from emulator.description.display import Display
from emulator.errors import WindowError
from emulator.view.controls import Action, State

_LOOPBACK = ["127.0.0.1", "::1"]
_PAGE = Path(__file__).with_name("page")
_TYPES = {
    ".html": "text/html",
    ".css": "text/css",
    ".js": "text/javascript",
    ".svg": "image/svg+xml",
}
_TELL_S = 0.1  # between words about the frame
_MOST_LETTERS = 4096  # of a message from a page
_ALIVE_S = 20.0  # a viewer that answers no ping for so long is gone
_END_S = 1.0  # for viewers to take leave
_KEPT_ACTIONS = 64
_HEADERS = {
    "Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self';"
    " connect-src 'self'; img-src 'self'; base-uri 'none'; form-action 'none';"
    " frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}


class Server:
    """Serves frames that `put` gets; never blocks who calls it.

    port: 0 for a free one. host: the interface, '' for loopback alone. token: '' makes one if it is
    needed. actions: what viewers asked of the wall, an Action or the number of a source; more than
    64 that nobody takes are forgotten. url: where to look. Raises WindowError if the port cannot be
    opened.
    """

    def __init__(
        self,
        display: Display,
        state: State,
        port: int,
        *,
        host: str = "",
        token: str = "",
        pixels_wide: int = 960,
    ) -> None:
        self.actions: deque[Action | int] = deque(maxlen=_KEPT_ACTIONS)
        self._display, self._state, self._alive_s = display, state, _ALIVE_S
        self._guard = Guard.of(host, token)
        self._widths = sizes(pixels_wide, display.grid.columns)
        self._clock: Clock = RealClock()
        self._viewers: dict[Viewer, asyncio.Event] = {}
        self._sockets = _opened(host, port)
        self.port: int = self._sockets[0].getsockname()[1]
        self.url = _url(host, self.port, self._guard.token)
        self._facts = json.dumps(facts(display, state))
        self._loop = asyncio.new_event_loop()
        self._painter = Painter(display, self._clock, self._deliver)
        self._end, self._closed = asyncio.Event(), False
        started = threading.Event()
        self._thread = threading.Thread(
            target=self._serve, args=(started,), name="foreglow server", daemon=True
        )
        self._thread.start()
        started.wait()

    def put(self, frame: Frame) -> None:
        """Show a frame from now on."""
        self._painter.put(frame)

    @property
    def frame(self) -> Frame | None:
        """The newest frame."""
        return self._painter.frame

    def now_ns(self) -> int:
        """The time of frames."""
        return self._clock.now_ns()

    def close(self) -> None:
        """Tell the viewers, then end both threads; a second call does nothing."""
        if self._closed:
            return
        self._closed = True
        self._painter.close()
        self._loop.call_soon_threadsafe(self._end.set)
        self._thread.join(5 * _END_S)

    # In the server's thread ----------------------------------------------------------------

    def _serve(self, started: threading.Event) -> None:
        asyncio.set_event_loop(self._loop)
        try:
            self._loop.run_until_complete(self._run(started))
        finally:
            self._loop.close()

    async def _run(self, started: threading.Event) -> None:
        app = web.Application(middlewares=[self._guarded])
        app.router.add_get("/live", self._live)
        app.router.add_get("/colours.css", self._colours)
        app.router.add_get("/{file:[a-z]*[.]?[a-z]*}", self._file)
        runner = web.AppRunner(app, access_log=None, logger=_log(), shutdown_timeout=_END_S)
        await runner.setup()
        for one in self._sockets:
            await web.SockSite(runner, one).start()
        started.set()
        telling = asyncio.create_task(self._tell())
        await self._end.wait()
        telling.cancel()
        for viewer in self._viewers.values():
            viewer.set()
        await runner.cleanup()

    @web.middleware
    async def _guarded(
        self,
        request: web.Request,
        handler: Callable[[web.Request], Awaitable[web.StreamResponse]],
    ) -> web.StreamResponse:
        headers = request.headers
        # The files are public; the page that asks for them, and the wall itself, need the token.
        free = request.path not in ("/", "/live")
        token = self._guard.token if free else request.query.get("token", "")
        if len(headers.getall("Host", [])) != 1:
            return _refusal("One name of the wall is needed, in the header Host.")
        why = self._guard.refuses(headers["Host"], headers.get("Origin"), token)
        return _refusal(why) if why else await handler(request)

    async def _colours(self, _request: web.Request) -> web.Response:
        return web.Response(text=style(), content_type="text/css", headers=_HEADERS)

    async def _file(self, request: web.Request) -> web.Response:
        path = _PAGE / (request.match_info["file"] or "index.html")
        if path.suffix not in _TYPES or not path.is_file():
            return web.Response(status=404, text="There is no such file.\n", headers=_HEADERS)
        return web.Response(
            body=path.read_bytes(),
            content_type=_TYPES[path.suffix],
            charset="utf-8",
            headers=_HEADERS,
        )

    async def _live(self, request: web.Request) -> web.WebSocketResponse:
        # Pictures are compressed already.
        line = web.WebSocketResponse(
            compress=False, heartbeat=self._alive_s, max_msg_size=_MOST_LETTERS, timeout=_END_S
        )
        await line.prepare(request)
        viewer, wake = Viewer(self._display, self._state, self._widths[-1]), asyncio.Event()
        self._viewers[viewer] = wake
        wake.set()
        sending = asyncio.create_task(self._send(line, viewer, wake))
        try:
            await self._hear(line, viewer, wake)
        finally:
            del self._viewers[viewer]
            self._painter.forget(viewer)
            sending.cancel()
            with contextlib.suppress(asyncio.CancelledError, ConnectionError):
                await sending
        return line

    async def _hear(self, line: web.WebSocketResponse, viewer: Viewer, wake: asyncio.Event) -> None:
        async for message in line:
            try:
                if message.type is not WSMsgType.TEXT:
                    raise Malformed("not text")
                viewer.hear(message.data, self.now_ns(), self._widths, self.actions.append)
            except Malformed as error:
                await line.close(code=WSCloseCode.POLICY_VIOLATION, message=str(error).encode())
                return
            wake.set()

    async def _send(self, line: web.WebSocketResponse, viewer: Viewer, wake: asyncio.Event) -> None:
        """Send what is new, the newest alone; `send` waits while the viewer takes nothing."""
        await line.send_str(self._facts)
        while not self._end.is_set():
            wake.clear()
            if viewer.told is not None:
                told, viewer.told = viewer.told, None
                await line.send_str(told)
            if viewer.numbers_wide is not None:
                wide, viewer.numbers_wide = viewer.numbers_wide, None
                await line.send_str(json.dumps(numbers(self._display, wide)))
            picture = viewer.next_picture(self.now_ns())
            if picture is not None:
                number = picture.number.to_bytes(8, "big")
                await line.send_bytes(number + picture.content)
            if viewer.has_room and viewer.slot is None:
                self._painter.wait_for(viewer, viewer.wide, viewer.number, viewer.exact)
            await wake.wait()
        await line.close(code=WSCloseCode.GOING_AWAY, message=b"the show has ended")

    def _deliver(self, picture: Picture) -> None:
        """Called by the painter, in its thread."""
        with contextlib.suppress(RuntimeError):  # the loop has ended
            self._loop.call_soon_threadsafe(self._offer, picture)

    def _offer(self, picture: Picture) -> None:
        for viewer, wake in self._viewers.items():
            viewer.offer(picture)
            wake.set()

    async def _tell(self) -> None:
        """Give every viewer its words about the newest frame, if they are new or old enough."""
        while True:
            frame, now_ns = self.frame, self.now_ns()
            if frame is not None:
                common = frame.told((now_ns - frame.time_ns) // SECOND_NS)
                for viewer, wake in self._viewers.items():
                    card = frame.card(self._display, viewer.picked)
                    told = json.dumps(common | {"card": card, "link": viewer.link(now_ns)})
                    if viewer.tell(told, now_ns):
                        wake.set()
            await asyncio.sleep(_TELL_S)


def _log() -> logging.Logger:
    """A log of what goes wrong here. Strangers who send no HTTP get an answer, and no entry."""
    log = logging.getLogger("foreglow.browser")
    log.addFilter(_is_not_theirs)
    return log


def _is_not_theirs(record: logging.LogRecord) -> bool:
    return not (record.exc_info and isinstance(record.exc_info[1], HttpProcessingError))


def _refusal(why: str) -> web.Response:
    return web.Response(status=403, text=f"{why}\n", headers=_HEADERS)


def _opened(host: str, port: int) -> list[socket.socket]:
    """Listening sockets; of loopback both kinds, as far as this machine has them."""
    places = [host] if host else _LOOPBACK
    opened: list[socket.socket] = []
    for place in places:
        family = socket.AF_INET6 if ":" in place else socket.AF_INET
        try:
            opened.append(socket.create_server((place, port), family=family))
        except OSError as error:
            if opened:
                continue  # a machine without IPv6
            why = (error.strerror or str(error)).partition(" (while")[0]  # socket adds its call
            raise WindowError(
                f"cannot serve at {place}, port {port} ({why})",
                fix="choose another port (browser:8081, or --port 8081), or an address of this"
                " machine.",
            ) from error
        port = port or opened[0].getsockname()[1]
    return opened


def _url(host: str, port: int, token: str) -> str:
    name = "localhost" if not host else f"[{host}]" if ":" in host else host
    if name in ("0.0.0.0", "[::]"):  # all interfaces
        name = socket.gethostname().lower()
    return f"http://{name}:{port}/" + (f"?token={token}" if token else "")
