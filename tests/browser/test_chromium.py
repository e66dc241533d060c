"""The page in Chromium: pictures, keys, clicks, a slow and a killed viewer, and a lost wall."""

from __future__ import annotations

import threading
from pathlib import Path

import numpy as np
import pytest

from emulator import RealClock, parse_display
from emulator.browser import BrowserScreen
from emulator.view.controls import CONTROLS, Action, pointing
from emulator.view.player import Player
from emulator.view.reading import read_cell
from tests.chromium import in_chromium
from tests.window.conftest import SMALL

pytestmark = in_chromium
HOSTILE = "<img src=x onerror=console.error(1)>"
LIT = "() => document.querySelector('#picture').width > 1"


@pytest.fixture
def player():
    """Plays on a small wall whose name and sources are hostile, in a thread."""
    display = parse_display(SMALL, Path(f"{HOSTILE}.toml"))

    def moving(time_s):
        picture = np.zeros(display.picture_shape, np.uint8)
        picture[...] = int(time_s * 97) % 200, 90, 40
        return picture

    def broken(time_s):
        raise ValueError(HOSTILE)

    def opens(display, state, clock):
        return BrowserScreen(display, state, clock, 0)

    sources = {f"moving {HOSTILE}": moving, "broken": broken, "also": moving}
    player = Player(display, sources, next(iter(sources)), opens)
    thread = threading.Thread(target=player.run)
    thread.start()
    yield player
    player.state.closed = True
    thread.join()


@pytest.fixture
def look(chromium, player):
    """Opens pages on the wall; fails if one complained."""
    contexts, said = [], []

    def look_(wide=1400, high=900):
        context = chromium.new_context(viewport={"width": wide, "height": high})
        contexts.append(context)
        page = context.new_page()
        page.on("console", lambda message: said.append(message.text))
        page.on("pageerror", lambda error: said.append(str(error)))
        page.goto(player.screen.url)
        page.wait_for_function(LIT)
        return page

    look_.expects = []
    yield look_
    for context in contexts:
        context.close()
    assert [text for text in said if not any(one in text for one in look_.expects)] == []


def wait(page, fits):
    """Wait until something in this process is so, while the page goes on."""
    for _ in range(400):
        if fits():
            return
        page.wait_for_timeout(25)
    raise AssertionError("it does not happen")


def test_every_key_does_what_it_does_in_the_window(look, player):
    page, state = look(), player.state
    before = state.viewing
    for action, done in {
        Action.FARTHER: lambda: state.viewing.distance_m > before.distance_m,
        Action.NEARER: lambda: state.viewing == before,
        Action.LIGHTER: lambda: state.viewing.ambient_lx > before.ambient_lx,
        Action.DARKER: lambda: state.viewing == before,
        Action.NIGHT: lambda: state.viewing.night,
        Action.COLOURS: lambda: state.viewing.led_colours,
        Action.PAUSE: lambda: state.paused,
        Action.STEP: lambda: state.paused,
        Action.NEXT: lambda: state.playing == 1,
        Action.PREVIOUS: lambda: state.playing == 0,
        Action.TIME: lambda: not state.real_time,
    }.items():
        page.keyboard.press(key_of(action))
        wait(page, done)
    for action, shown in (("LIST", "#list"), ("HELP", "#help"), ("INSTRUMENTS", "#instruments")):
        was = page.locator(shown).is_visible()
        page.keyboard.press(key_of(Action[action]))
        assert page.locator(shown).is_visible() is not was
    page.keyboard.press("Escape")
    assert not page.locator("#help").is_visible()
    assert inked(page) == 0
    for action in ("NUMBERS", "PATH"):
        less = inked(page)
        page.keyboard.press(key_of(Action[action]))
        page.wait_for_function(f"less => ({INKED})() > less", arg=less)
    with page.expect_download() as saved:
        page.keyboard.press(key_of(Action.SAVE))
    assert Path(saved.value.path()).read_bytes().startswith(b"\x89PNG")
    page.keyboard.press(key_of(Action.QUIT))
    page.wait_for_selector("body.lost")
    wait(page, lambda: not player.screen._server._viewers)
    page.keyboard.press(key_of(Action.QUIT))
    page.wait_for_selector("body:not(.lost)")


def test_keys_wheel_and_drag_zoom_one_page_and_a_click_picks_what_is_below_it(look, player):
    page, other = look(), look()
    box = lambda: page.locator("#wall").bounding_box()  # noqa: E731
    whole = box()
    x, y = whole["x"] + whole["width"] * 6.5 / 8, whole["y"] + whole["height"] * 2.5 / 4
    page.mouse.move(x, y)
    page.mouse.wheel(0, -100)
    page.mouse.wheel(0, -100)
    page.wait_for_function("wide => document.querySelector('#wall').clientWidth > wide * 1.4",
                           arg=whole["width"])  # fmt: skip
    zoomed = box()
    assert zoomed["width"] == pytest.approx(2**0.5 * whole["width"], abs=2)
    assert x - zoomed["x"] == pytest.approx(zoomed["width"] * 6.5 / 8, abs=2)
    page.mouse.down()
    page.mouse.move(x - 40, y + 3)
    page.mouse.move(x - 60, y + 5)
    page.mouse.up()
    assert box()["x"] == pytest.approx(zoomed["x"] - 60, abs=2)
    assert page.locator("#card").is_hidden(), "a drag picks nothing"
    page.mouse.click(x - 60, y + 5)
    page.wait_for_function("() => document.querySelector('#card-cell').textContent")
    assert page.locator("#card-cell").inner_text() == "column 6, row 2"
    page.keyboard.press("Control+ArrowLeft")
    page.keyboard.press("Control+ArrowLeft")
    assert box()["x"] == pytest.approx(whole["x"], abs=1), "no further than the wall's edge"
    page.keyboard.press("0")
    assert box() == whole
    page.keyboard.press("+")
    assert box()["width"] == pytest.approx(2**0.5 * whole["width"], abs=2)
    page.keyboard.press("-")
    assert box() == whole
    assert other.locator("#wall").bounding_box() == whole


INKED = """() => { const over = document.querySelector('#over');
  const copy = new OffscreenCanvas(over.width, over.height);
  const pen = copy.getContext('2d', { willReadFrequently: true });
  pen.drawImage(over, 0, 0);
  const pixels = pen.getImageData(0, 0, over.width, over.height).data;
  let inked = 0; for (let at = 3; at < pixels.length; at += 4) inked += pixels[at] > 0;
  return inked; }"""


def inked(page):
    """How many pixels lie over the wall."""
    return page.evaluate(INKED)


def key_of(action):
    """The key in Playwright's words, which are those of KeyboardEvent.key."""
    name = next(control.key_name for control in CONTROLS if control.action is action)
    return {
        "Up": "ArrowUp", "Down": "ArrowDown", "Left": "ArrowLeft", "Right": "ArrowRight",
        "PgUp": "PageUp", "PgDn": "PageDown", "Esc": "Escape",
    }.get(name, name.lower() if len(name) == 1 else name)  # fmt: skip


@pytest.mark.parametrize("wide", [1400, 390])
def test_a_click_on_a_cell_opens_its_card_and_arrows_move_it(look, player, wide):
    page = look(wide)
    page.keyboard.press("Space")
    wait(page, lambda: player.state.paused)
    box = page.locator("#wall").bounding_box()
    display, cell = player.bench.display, (6, 2)
    page.mouse.click(
        box["x"] + (cell[0] + 0.5) * box["width"] / 8,
        box["y"] + (cell[1] + 0.5) * box["height"] / 4,
    )
    read = read_cell(display, player.bench.drives, cell)
    page.wait_for_function("text => document.body.innerText.includes(text)", arg=read.place)
    page.keyboard.press("Shift+ArrowLeft")
    read = read_cell(display, player.bench.drives, (5, 2))
    page.wait_for_function("text => document.body.innerText.includes(text)", arg=read.cell)
    card, stage = (page.locator(one).bounding_box() for one in ("#card", "#stage"))
    assert stage["x"] <= card["x"] <= card["x"] + card["width"] <= stage["x"] + stage["width"]
    page.keyboard.press("Escape")
    assert not page.locator("#card").is_visible()


def test_names_and_errors_of_users_are_only_text(look, player):
    page = look()
    page.wait_for_function("text => document.title.includes(text)", arg=HOSTILE)
    page.keyboard.press("l")
    assert page.locator("#list button").first.inner_text() == f"moving {HOSTILE}"
    page.locator("#list button").nth(1).click()
    page.wait_for_selector("#trouble:visible")
    assert HOSTILE in page.locator("#trouble-summary").inner_text()
    assert page.locator("img").count() == 0


def test_a_narrow_page_has_every_control_and_nothing_beside_the_screen(look, player):
    page = look(390, 844)
    page.locator("#ask").click()
    assert page.locator("#help button").count() == len(CONTROLS)
    rows = page.locator("#help p").all_inner_texts()
    assert len(rows) == 5
    for key, words in pointing(player.state):
        assert any(key in row and words in row for row in rows)
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    assert page.locator("#wall").bounding_box()["width"] > 340


def test_a_slow_viewer_skips_and_a_killed_one_is_gone_while_another_sees_all(look, player):
    quick, slow = look(), look()
    line = slow.context.new_cdp_session(slow)
    line.send("Emulation.setCPUThrottlingRate", {"rate": 20})
    line.send("Network.enable")
    slow_link = {"latency": 300, "downloadThroughput": 20_000, "uploadThroughput": 20_000}
    line.send("Network.emulateNetworkConditions", {"offline": False} | slow_link)
    viewers = player.screen._server._viewers
    fast_one, slow_one = viewers

    def without():
        """How many pictures each has not been sent."""
        newest = player.screen._frame.number
        return np.array([one.skipped + newest - one.number for one in (fast_one, slow_one)])

    shown, before = fast_one.number, without()
    wait(quick, lambda: fast_one.number > shown + 90)
    missed_fast, missed_slow = without() - before
    assert missed_slow > missed_fast
    slow.wait_for_function("() => document.querySelector('#gauges').innerText.includes('late')")
    assert len(slow_one._on_way) <= 3
    slow.context.close()
    wait(quick, lambda: slow_one not in viewers)
    shown = fast_one.number
    wait(quick, lambda: fast_one.number > shown + 10)


def test_a_page_that_loses_the_wall_says_so_and_finds_it_again(look, player):
    look.expects = ["ERR_CONNECTION_REFUSED"]  # the browser itself reports them
    page = look()
    port, state = player.screen._server.port, player.state
    player.screen._server.close()
    page.wait_for_selector("body.lost")
    assert "Trying again" in page.locator("#line").inner_text()
    again = BrowserScreen(player.bench.display, state, RealClock(), port)
    try:
        page.wait_for_selector("body:not(.lost)")
    finally:
        again._server.close()
