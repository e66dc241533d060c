"""The wall's server against a client for HTTP and WebSocket (RFC 6455) that is not a browser."""

from __future__ import annotations

import asyncio
import json
import re
import socket
import subprocess
import sys
import threading
from urllib.parse import urlsplit

import aiohttp
import cv2
import numpy as np
import pytest

from emulator.browser.facts import SHARED
from emulator.browser.painter import sizes
from emulator.browser.server import Server
from emulator.browser.viewer import Viewer
from emulator.errors import WindowError
from emulator.light.look import Look
from emulator.light.wall import WallView
from emulator.view.controls import Action, State
from emulator.view.reading import read_cell
from tests.browser.conftest import until, viewers


def decoded(content: bytes) -> np.ndarray:
    """The pixels (height, width, 3) of a picture, by OpenCV."""
    return cv2.imdecode(np.frombuffer(content, np.uint8), cv2.IMREAD_COLOR)[..., ::-1].astype(int)


async def fetched(url: str, **headers: str) -> tuple[int, str, dict[str, str]]:
    async with aiohttp.ClientSession() as session, session.get(url, headers=headers) as answer:
        return answer.status, await answer.text(), dict(answer.headers)


def test_the_page_and_all_it_names_come_with_a_strict_policy(serve):
    url = serve().screen.url

    async def run():
        _, page, _ = await fetched(url)
        files = re.findall(r'(?:href|src)="([^"]+)"', page)
        assert len(files) >= 4
        for file in ("", *files, "live.js", "wall.js", "words.js"):
            status, _, headers = await fetched(url + file)
            assert status == 200, file
            assert "default-src 'none'" in headers["Content-Security-Policy"]
            assert headers["X-Content-Type-Options"] == "nosniff"
        assert "<script>" not in page
        assert not re.search(r"\son\w+=|style=", page)
        for file in ("no.js", "server.py", "..%2fserver.py", "%2e%2e/server.py", "page"):
            assert (await fetched(url + file))[0] == 404, file

    asyncio.run(run())


def test_every_viewer_gets_the_picture_first_quick_then_exact(serve, display):
    wall = serve()
    wall.show(250, 120, 10)
    view = WallView(display, 400, Look(3.0))
    view.expose(0)
    meant = view.draw(wall.bench.picture).astype(int)

    async def run():
        async with viewers(wall, 3) as clients:
            for client in clients:
                await client.say(wide=400)
                while True:  # the first may be of the width before
                    _, content = await client.picture()
                    if (picture := decoded(content)).shape == meant.shape:
                        break
                # JPEG of quality 90 (the mean by experience, no source)
                assert np.abs(picture - meant).mean() < 2
                while not content.startswith(b"\x89PNG"):
                    _, content = await client.picture()
                assert (decoded(content) == meant).all()

    asyncio.run(run())


def test_a_viewer_that_never_answers_gets_three_pictures_and_slows_nobody(serve):
    wall = serve()

    async def run():
        async with viewers(wall, 2) as (quick, mute):
            numbers = []
            for _ in range(40):
                wall.step()
                while not numbers or numbers[-1] < wall.screen._frame.number:
                    numbers.append((await quick.picture())[0])
            assert len(set(numbers)) == 40
            got = []
            await mute.line.send_json({"pick": [0, 0]})
            while (told := await mute.line.receive(5)).type is aiohttp.WSMsgType.BINARY or (
                json.loads(told.data).get("card") is None
            ):
                got += [told.data] if told.type is aiohttp.WSMsgType.BINARY else []
            assert 1 <= len(got) <= 3

    asyncio.run(run())


def test_a_viewer_that_never_reads_costs_three_pictures_and_is_let_go(serve):
    wall = serve(pixels_wide=1600)
    wall.server._alive_s = 0.6

    async def run():
        async with viewers(wall) as (quick,):
            with socket.create_connection(("127.0.0.1", wall.server.port)) as deaf:
                deaf.sendall(
                    b"GET /live HTTP/1.1\r\nHost: localhost\r\nUpgrade: websocket\r\n"
                    b"Connection: Upgrade\r\nSec-WebSocket-Version: 13\r\n"
                    b"Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n"
                )  # the key of RFC 6455 § 1.3
                await until(lambda: len(wall.server._viewers) == 2)
                slow = [*wall.server._viewers][1]
                for _ in range(10):
                    wall.step()
                    await quick.picture()
                assert len(slow._on_way) <= 3
                await until(lambda: slow not in wall.server._viewers)
            wall.step()
            await quick.picture()

    asyncio.run(run())


def test_a_viewer_killed_midway_is_forgotten_and_may_come_again(serve):
    wall = serve()
    wall.step()

    async def run():
        async with viewers(wall, 2) as (stays, killed):
            await killed.message("picture")
            killed.line._response.connection.transport.abort()
            await until(lambda: len(wall.server._viewers) == 1)
            wall.step()
            await stays.picture()
            async with viewers(wall) as (again,):
                assert (await again.message("wall"))["name"] == "small"
                await again.picture()
        await until(lambda: not wall.server._viewers and not wall.server._painter._waiting)

    asyncio.run(run())


def test_wrong_host_origin_or_token_are_refused(serve):
    wall = serve(token="0123456789abcdefgh")
    root, _, query = wall.screen.url.partition("?")
    assert query == "token=0123456789abcdefgh"

    async def run():
        for path, headers, status in (
            (f"?{query}", {}, 200),
            ("", {}, 403),
            ("?token=0123456789abcdefgi", {}, 403),
            (f"?{query}", {"Host": "evil.example"}, 403),
            (f"live?{query}", {"Origin": "http://evil.example"}, 403),
            ("page.js", {}, 200),
            ("page.js", {"Host": "evil.example"}, 403),
        ):
            assert (await fetched(root + path, **headers))[0] == status, (path, headers)
        async with aiohttp.ClientSession() as session:
            for url, headers in (
                (root + "live", {}),
                (f"{root}live?{query}", {"Origin": "http://evil.example"}),
                (f"{root}live?{query}", {"Host": "evil.example"}),
            ):
                with pytest.raises(aiohttp.WSServerHandshakeError) as refused:
                    await session.ws_connect(url, headers=headers)
                assert refused.value.status == 403
            own = {"Origin": root.rstrip("/")}
            async with session.ws_connect(f"{root}live?{query}", headers=own):
                pass

    asyncio.run(run())


def test_what_is_no_http_is_refused_without_a_word_in_the_log(serve, caplog):
    root = serve().screen.url
    with socket.create_connection(("127.0.0.1", urlsplit(root).port)) as line:
        line.sendall(b"GET / HTTP/1.1\r\nHost: \x7f\r\n\r\n")
        assert b" 400 " in line.recv(100)  # RFC 9110, 15.5.1
    assert not caplog.records


MALFORMED = [
    "", "{", "[]", "null", "1", "[" * 2000, '{"do": "QUIT"}', '{"do": "SAVE"}', '{"do": 1}',
    '{"do": ["PAUSE"]}', '{"play": -1}', '{"play": 3}', '{"play": true}', '{"play": 0.5}',
    '{"pick": [8, 0]}', '{"pick": [0, -1]}', '{"pick": [0]}', '{"pick": "ab"}', '{"wide": "9"}',
    '{"wide": 1e9}', '{"wide": NaN}', '{"numbers": 99999999}', '{"seen": -1}', '{"other": 1}',
    '{"seen": 1, "wide": 9}', b"\x00", b"", '{"seen": 1' + " " * 5000 + "}",
]  # fmt: skip


def test_a_malformed_message_ends_its_viewer_and_no_other(serve):
    wall = serve()
    wall.step()

    async def run():
        async with viewers(wall) as (good,):
            for message in MALFORMED:
                async with viewers(wall) as (bad,):
                    if isinstance(message, bytes):
                        await bad.line.send_bytes(message)
                    else:
                        await bad.line.send_str(message)
                    assert await bad.code() in (1008, 1009), message
            wall.step()
            await good.picture()
        assert not wall.server.actions

    asyncio.run(run())


def test_a_flood_of_messages_ends_its_viewer_and_the_wall_keeps_few(serve):
    wall = serve()

    async def run():
        async with viewers(wall) as (flood,):
            for _ in range(400):
                await flood.say(do="PAUSE")
            assert await flood.code() == 1008
        assert len(wall.server.actions) == 64

    asyncio.run(run())


def test_what_viewers_ask_of_the_wall_reaches_its_state(serve):
    wall = serve()
    wall.step()

    async def run():
        async with viewers(wall, 2) as (one, other):
            await one.say(do="PAUSE")
            await until(lambda: wall.server.actions)
            wall.screen.pump()
            assert wall.state.paused
            await other.say(play=2)
            await other.say(do="FARTHER")
            await until(lambda: len(wall.server.actions) == 2)
            wall.screen.pump()
            assert (wall.state.playing, wall.state.viewing.distance_m) == (2, 4.0)
            wall.step()
            while (told := await one.message("told"))["source"] != 2:
                pass
            assert told["paused"]

    asyncio.run(run())


def test_the_same_words_come_again_after_a_second(display):
    """So a page notices by silence that the connection is dead."""
    viewer = Viewer(display, State(), 960)
    said = [viewer.tell(words, ms * 1_000_000) for words, ms in (
        ("one", 0), ("one", 900), ("two", 950), ("two", 1900), ("two", 2000))]  # fmt: skip
    assert said == [True, False, True, False, True]


def test_walls_of_small_cells_are_drawn_larger_for_pages_that_zoom():
    assert sizes(960, 36) == (960, 480, 240)
    assert sizes(960, 316) == (1920, 960, 480, 240)
    assert sizes(960, 5000)[0] == 3840, "at most 4096"


def test_what_is_shared_and_what_is_not_make_all_keys(serve):
    own = {
        "ZOOM_IN",
        "ZOOM_OUT",
        "WHOLE",
        "LIST",
        "INSTRUMENTS",
        "NUMBERS",
        "PATH",
        "SAVE",
        "HELP",
        "DISMISS",
        "QUIT",
    }
    assert {a.name for a in SHARED} == {a.name for a in Action} - own
    wall = serve()

    async def run():
        async with viewers(wall) as (client,):
            controls = (await client.message("wall"))["controls"]
        assert [c["action"] for c in controls] == [a.name for a in Action]
        assert len({c["key"] for c in controls}) == len(controls)

    asyncio.run(run())


def test_a_picked_cell_and_the_numbers_say_what_the_window_says(serve, display):
    wall = serve()
    wall.show(10, 20, 30)

    async def run():
        async with viewers(wall) as (client,):
            for cell in ((7, 0), (3, 1)):
                await client.say(pick=cell)
                read = read_cell(display, wall.bench.drives, cell)
                while not (told := await client.message("told"))["card"] or (
                    told["card"]["cell"] != read.cell
                ):
                    pass
                assert (told["card"]["place"], told["card"]["drive"]) == (read.place, read.drive)
            await client.say(numbers=400)
            shown = (await client.message("numbers"))["shown"]
        wiring = display.wiring
        assert len(shown) == 28  # 8 × 4 cells less a gap of 4
        for column, row, text in shown:
            assert text == str(wiring.led[wiring.led_at[row, column]])

    asyncio.run(run())


def test_closing_tells_viewers_frees_the_port_and_ends_the_threads(serve, display):
    wall = serve()
    wall.step()

    async def run():
        async with viewers(wall, 2) as clients:
            await asyncio.to_thread(wall.screen.close)
            for client in clients:
                assert await client.code() == 1001

    asyncio.run(run())
    assert not [t for t in threading.enumerate() if t.name.startswith("foreglow")]
    socket.create_server(("127.0.0.1", wall.server.port)).close()
    wall.screen.close()


def test_a_port_in_use_is_named(display):
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        with pytest.raises(WindowError, match=f"port {port}"):
            Server(display, State(), port)


def test_without_aiohttp_the_error_says_how_to_get_it():
    code = "import sys; sys.modules['aiohttp'] = None\nimport emulator\n"
    code += "emulator.open_output('browser:0', emulator.load_display('sign'))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert "UnsupportedError" in done.stderr
    assert "pip install 'foreglow[browser]'" in done.stderr
