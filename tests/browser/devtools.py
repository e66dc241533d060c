"""Chromium without a screen, driven over its DevTools protocol (chromedevtools.github.io)."""

from __future__ import annotations

import asyncio
import base64
import itertools
import json
import os
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import aiohttp

CHROMIUM = shutil.which("chromium") or shutil.which("google-chrome")
_MOST_S = 40


class Page:
    """One page in a tab of its own. problems: errors and warnings of its console."""

    def __init__(self, line: aiohttp.ClientWebSocketResponse) -> None:
        self.problems: list[str] = []
        self._line, self._ids = line, itertools.count(1)
        self._answers: dict[int, asyncio.Future[Any]] = {}
        self._reading = asyncio.create_task(self._read())

    async def _read(self) -> None:
        async for message in self._line:
            told = json.loads(message.data)
            if "id" in told and (answer := self._answers.pop(told["id"], None)) is not None:
                answer.set_result(told)
            elif told.get("method") == "Runtime.exceptionThrown":
                self.problems.append(str(told["params"]["exceptionDetails"]))
            elif told.get("method") == "Log.entryAdded":
                self.problems.append(told["params"]["entry"]["text"])
            elif told.get("method") == "Runtime.consoleAPICalled":
                self.problems.append(str(told["params"]["args"]))

    async def call(self, method: str, **arguments: object) -> Any:
        """The result of a method of the protocol."""
        number = next(self._ids)
        self._answers[number] = answer = asyncio.get_running_loop().create_future()
        await self._line.send_json({"id": number, "method": method, "params": arguments})
        told = await asyncio.wait_for(answer, _MOST_S)
        assert "error" not in told, told
        return told["result"]

    async def value(self, script: str) -> Any:
        """What an expression of JavaScript gives."""
        told = await self.call(
            "Runtime.evaluate", expression=script, awaitPromise=True, returnByValue=True
        )
        assert "exceptionDetails" not in told, told
        return told["result"].get("value")

    async def until(self, script: str, fits: Callable[[Any], object] = bool) -> Any:
        """The value of an expression, as soon as it fits."""
        for _ in range(_MOST_S * 20):
            if fits(value := await self.value(script)):
                return value
            await asyncio.sleep(0.05)
        raise AssertionError(f"{script} stays {value!r}")

    async def press(self, key: str, shift: bool = False) -> None:
        """Press and let go a key by its KeyboardEvent.key."""
        text = {"text": key} if len(key) == 1 else {}
        for kind, more in (("keyDown", text), ("keyUp", {})):
            await self.call(
                "Input.dispatchKeyEvent", type=kind, key=key, modifiers=8 * shift, **more
            )

    async def click(self, x: float, y: float) -> None:
        """Press and let go the left button of the mouse at a place of the page."""
        for kind in ("mousePressed", "mouseReleased"):
            await self.call(
                "Input.dispatchMouseEvent", type=kind, x=x, y=y, button="left", clickCount=1
            )

    async def picture(self, path: Path) -> None:
        """Write the page as PNG."""
        told = await self.call("Page.captureScreenshot")
        path.write_bytes(base64.b64decode(told["data"]))


class Chromium:
    """A browser of its own, in an async block; it ends with the block."""

    def __init__(self, folder: Path) -> None:
        assert CHROMIUM is not None
        folder.mkdir(exist_ok=True)
        self._told = folder / "DevToolsActivePort"
        self._process = subprocess.Popen(
            [
                CHROMIUM,
                "--headless=new",
                "--no-sandbox",  # CI runs as root, for which the sandbox does not start
                "--disable-gpu",
                "--disable-dev-shm-usage",
                "--no-first-run",
                "--disable-background-networking",
                "--disable-component-update",
                "--remote-debugging-port=0",
                f"--user-data-dir={folder}",
                "about:blank",
            ],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            env=os.environ | {"HOME": str(folder)},
        )

    async def __aenter__(self) -> Chromium:
        for _ in range(_MOST_S * 20):
            if self._told.exists() and len(self._told.read_text().splitlines()) == 2:
                break
            assert self._process.poll() is None, "Chromium has ended"
            await asyncio.sleep(0.05)
        port, _ = self._told.read_text().splitlines()
        self._at = f"http://127.0.0.1:{port}"
        self._session = aiohttp.ClientSession()
        return self

    async def __aexit__(self, *_: object) -> None:
        await self._session.close()
        self._process.terminate()
        self._process.wait(_MOST_S)

    async def page(self, url: str, wide: int = 1400, high: int = 900) -> Page:
        """A new tab at an address, of a size."""
        async with self._session.put(f"{self._at}/json/new?about:blank") as answer:
            told = await answer.json()
        self.last_id = told["id"]
        line = await self._session.ws_connect(told["webSocketDebuggerUrl"], max_msg_size=0)
        page = Page(line)
        for part in ("Runtime", "Log", "Page", "Network"):
            await page.call(f"{part}.enable")
        await page.call(
            "Emulation.setDeviceMetricsOverride",
            width=wide,
            height=high,
            deviceScaleFactor=1,
            mobile=wide < 600,
        )
        await page.call("Page.navigate", url=url)
        return page

    async def kill(self, identity: str) -> None:
        """End a tab by its id, at once."""
        async with self._session.get(f"{self._at}/json/close/{identity}") as answer:
            assert answer.status == 200
