"""A small wall in browsers, and viewers that are not browsers."""

from __future__ import annotations

import asyncio
import contextlib
import json
from collections.abc import AsyncIterator, Callable, Iterator
from pathlib import Path
from typing import Any

import aiohttp
import numpy as np
import pytest

from emulator import Bench, Display, RealClock, parse_display
from emulator.browser import BrowserScreen
from emulator.view.controls import State
from emulator.view.status import Status
from tests.window.conftest import SMALL

_MOST_S = 20


class Wall:
    """A screen in browsers that shows what a test sends."""

    def __init__(self, display: Display, **options: object) -> None:
        self.bench = Bench(display)
        self.state = State(("scene one", "scene two", "pattern <b>three</b>"))
        options.setdefault("pixels_wide", 400)
        self.screen = BrowserScreen(display, self.state, RealClock(), 0, **options)
        self.server = self.screen._server
        self.frames = 0

    def show(self, *rgb: int) -> None:
        """Show a picture of one colour."""
        self.frames += 1
        self.bench.send(np.full(self.bench.display.picture_shape, rgb, np.uint8))
        status = Status("scene <i>one</i>", self.bench.clock.now_ns(), period_ns=33_000_000)
        self.screen.draw(self.bench.drives, self.bench.light, status)

    def step(self) -> None:
        """Show another picture than before."""
        self.show(self.frames % 200, 80, 255 - self.frames % 200)


@pytest.fixture
def display() -> Display:
    """8 × 4 cells, two lines, a gap in the middle."""
    return parse_display(SMALL, Path("small.toml"))


@pytest.fixture
def serve(display: Display) -> Iterator[Callable[..., Wall]]:
    """Makes walls in browsers, and closes them."""
    with contextlib.ExitStack() as closing:

        def made(display: Display = display, **options: object) -> Wall:
            wall = Wall(display, **options)
            closing.callback(wall.screen.close)
            return wall

        yield made


class Client:
    """A viewer by aiohttp's client: reads messages, and answers only if the test does."""

    def __init__(self, line: aiohttp.ClientWebSocketResponse) -> None:
        self.line = line

    async def message(self, kind: str) -> Any:
        """The next message of a kind, 'wall', 'told', 'numbers' or 'picture'; drops others.

        A picture is its number and its bytes.
        """
        while True:
            told = await self.line.receive(_MOST_S)
            assert told.type in (aiohttp.WSMsgType.TEXT, aiohttp.WSMsgType.BINARY), told
            if told.type is aiohttp.WSMsgType.BINARY:
                if kind == "picture":
                    return int.from_bytes(told.data[:8], "big"), told.data[8:]
            elif (found := json.loads(told.data))["kind"] == kind:
                return found

    async def picture(self) -> tuple[int, bytes]:
        """The next picture, acknowledged."""
        number, content = await self.message("picture")
        await self.say(seen=number)
        return number, content

    async def say(self, **message: object) -> None:
        """Send a message as a page does."""
        await self.line.send_json(message)

    async def code(self) -> int:
        """The code with which the server closes, after all it sent before."""
        while (told := await self.line.receive(_MOST_S)).type not in (
            aiohttp.WSMsgType.CLOSE,
            aiohttp.WSMsgType.CLOSING,
            aiohttp.WSMsgType.CLOSED,
        ):
            pass
        return told.data


@contextlib.asynccontextmanager
async def viewers(wall: Wall, count: int = 1) -> AsyncIterator[list[Client]]:
    """So many viewers of a wall, who have got the first message."""
    async with aiohttp.ClientSession() as session:
        live = (
            wall.screen.url.replace("/?", "/live?")
            if "?" in wall.screen.url
            else (wall.screen.url + "live")
        )
        lines = [await session.ws_connect(live) for _ in range(count)]
        clients = [Client(line) for line in lines]
        yield clients
        for line in lines:
            await line.close()


async def until(fits: Callable[[], object]) -> None:
    """Wait until something is so."""
    for _ in range(_MOST_S * 50):
        if fits():
            return
        await asyncio.sleep(0.02)
    raise AssertionError("it does not happen")
