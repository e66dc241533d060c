"""The page in Chromium: play, scrub, hover, tap, search, print, keys alone, and no text that runs.

Tests move the time in the page on (`page.clock`), so that none waits for a pattern to play.
"""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest

from emulator import load_display
from emulator.canvas import to_drives, to_wire
from harness.checks.check import run_checks
from harness.report.page.check import check_page
from harness.report.page.failures import failures_page
from harness.report.page.page import Failed, wall_layout
from harness.report.page.render import page_html
from harness.subject.given import subject_of
from harness.subject.trial import Trial
from tests.chromium import in_chromium
from tests.harness.report.page.test_render import EVIL, film
from tests.harness.report.page.test_render import page as page_of

pytestmark = in_chromium
MOST_BYTES = 1_500_000  # of a page of a wall of 36 × 20


def backwards(picture):
    """A map with every second row backwards, for the foyer."""
    display = load_display("foyer")
    turned = picture.copy()
    turned[1::2] = turned[1::2, ::-1]
    return to_wire(to_drives(turned, display), display)


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    """A page of a check that failed, and one with hostile texts everywhere."""
    folder = tmp_path_factory.mktemp("pages")
    display = load_display("foyer")
    with subject_of(backwards, display) as code:
        trial = Trial(display, code)
        report = run_checks(trial, ())
        (folder / "check.html").write_text(page_html(check_page(report, trial)), "utf-8")
    layout = wall_layout(display)
    pictures = film("the wall", (0, 0, 0) * 2, (255, 0, 0) * 2)
    layout |= {"columns": 2, "rows": 1, "line": [0, 0], "led": [0, 1], "cell": [0, 1]}
    failed = [
        Failed(
            f"test_show.py::test_{n}", "2 × 1 cells", "1 of 2", "pytest", "..", [pictures.packed()]
        )
        for n in range(2)
    ]
    made = failures_page([(one, layout) for one in failed])
    (folder / "failed.html").write_text(page_html(made), "utf-8")
    for number, text in enumerate(EVIL):
        (folder / f"evil{number}.html").write_text(page_html(page_of(text)), "utf-8")
    return folder


@pytest.fixture
def opened(chromium, files):
    """Opens a page by name; fails if it complained, or asked for anything but itself."""
    contexts, said, asked = [], [], []

    def open_(name="check", **settings):
        context = chromium.new_context(**{"viewport": {"width": 1400, "height": 900}} | settings)
        contexts.append(context)
        page = context.new_page()
        page.clock.install()
        page.on("console", lambda message: said.append(message.text))
        page.on("pageerror", lambda error: said.append(str(error)))
        page.on("request", lambda request: asked.append(request.url))
        page.goto((files / f"{name}.html").as_uri())
        page.wait_for_selector("html[data-ready]")
        if page.locator(".player").count():
            page.wait_for_selector(".player[data-film]")
        page.clock.run_for(1000)
        return page

    yield open_
    for context in contexts:
        context.close()
    assert said == []
    assert [url for url in asked if not url.startswith(("file:", "data:"))] == []
    assert sum(url.startswith("file:") for url in asked) == len(contexts)


def part(page, name):
    return page.locator(f"#player [data-part={name}]")


def choose(page, label):
    """Choose a film; wait until it is there, and drawn."""
    part(page, "film").select_option(label=label)
    loaded(page, label)


def loaded(page, label):
    page.wait_for_selector(f"#player[data-film='{label[2:]}']")
    page.clock.run_for(1000)


def step(page):
    return int(part(page, "scrub").input_value())


def middle(page, canvas, column, row):
    """A point on the screen: the middle of a cell of the foyer's 36 × 20."""
    canvas.scroll_into_view_if_needed()
    box = canvas.bounding_box()
    across, down = (box["width"] - 34) / 36, (box["height"] - 22) / 20
    return box["x"] + 30 + (column + 0.5) * across, box["y"] + 18 + (row + 0.5) * down


def test_a_page_of_a_whole_wall_is_small(files):
    assert (files / "check.html").stat().st_size < MOST_BYTES


def test_nothing_plays_by_itself_and_a_pattern_plays_slowly_pauses_and_steps(opened):
    page = opened()
    choose(page, "✓ rows")
    page.clock.run_for(5000)
    first = step(page)
    part(page, "play").click()
    page.clock.run_for(4100)  # two steps a second, though the pattern itself takes 0.2 s a step
    assert step(page) - first == 8
    part(page, "play").click()
    page.clock.run_for(300)
    paused = step(page)
    page.clock.run_for(5000)
    assert step(page) == paused
    part(page, "next").click()
    page.clock.run_for(300)
    assert step(page) == (paused + 1) % 20
    part(page, "back").click()
    page.clock.run_for(300)
    assert step(page) == paused


def test_with_less_motion_a_step_takes_a_second(opened):
    page = opened(reduced_motion="reduce")
    choose(page, "✓ rows")
    first = step(page)
    part(page, "play").click()
    page.clock.run_for(3300)
    assert (step(page) - first) % 20 == 3


def test_scrubbing_shows_what_was_meant_and_what_is_shown(opened):
    """In step 0 of `columns` column 0 is white; in row 1 it is shown at the other end."""
    page = opened()
    choose(page, "✗ columns")
    part(page, "scrub").focus()
    page.keyboard.press("Home")
    page.clock.run_for(1000)
    assert step(page) == 0
    assert "✗" in part(page, "told").inner_text()
    meant, shown = part(page, "walls").locator("canvas").all()
    at = middle(page, meant, 0, 1)
    page.mouse.move(*at)
    assert "column 0, row 1" in part(page, "reading").inner_text()
    assert "expected #ffffff, shown #000000" in part(page, "reading").inner_text()
    page.mouse.move(*middle(page, shown, 35, 1))
    assert "expected #000000, shown #ffffff" in part(page, "reading").inner_text()
    page.keyboard.press("ArrowRight")
    page.clock.run_for(1000)
    assert step(page) == 1
    part(page, "view").select_option("difference")
    page.clock.run_for(1000)
    (drawn,) = part(page, "walls").locator("canvas").all()
    assert "different" in drawn.get_attribute("aria-label")
    light = drawn.evaluate(
        """canvas => { const {data} = canvas.getContext('2d')
             .getImageData(0, 0, canvas.width, canvas.height);
           return [...data].some((v, n) => n % 4 == 0 && v == 238 && data[n + 1] == 178); }"""
    )
    assert light  # the crosses, in the accent colour


def test_scrubbing_fast_changes_the_picture_at_most_five_times_a_second(opened):
    """More than three flashes, pairs of changes, a second fail WCAG 2.2, SC 2.3.1."""
    page = opened()
    choose(page, "✗ checker")
    changes = page.evaluate(
        """() => { window.changes = [];
             const scrub = document.querySelector('#player [data-part=scrub]');
             const canvas = document.querySelector('#player canvas');
             const draw = canvas.getContext('2d').fillRect;
             CanvasRenderingContext2D.prototype.fillRect = function (...box) {
               if (this.canvas === canvas && box[0] === 0 && box[1] === 0)
                 window.changes.push(performance.now());
               return draw.apply(this, box); };
             window.wiggle = setInterval(() => { scrub.value = 1 - scrub.value;
               scrub.dispatchEvent(new Event('input')); }, 10); }"""
    )
    assert changes is None
    page.clock.run_for(4000)
    times = np.array(page.evaluate("window.changes"))
    assert len(times) >= 10
    for begin in times:
        assert ((times >= begin) & (times < begin + 1000)).sum() // 2 <= 3


def test_the_map_is_read_by_pointer_by_tap_by_keys_and_by_search(opened):
    display = load_display("foyer")
    wiring = display.wiring
    page = opened(has_touch=True)
    area, reading = page.locator("[data-part=area]"), page.locator("section[data-map] .reading")
    canvas = area.locator("canvas")

    def words(column, row):
        led = int(wiring.led_at[row, column])
        return f"LED {wiring.led[led]} (column {column}, row {row})"

    page.mouse.move(*middle(page, canvas, 7, 3))
    assert words(7, 3) in reading.inner_text()
    assert "V at least" in reading.inner_text()
    page.touchscreen.tap(*middle(page, canvas, 20, 12))
    assert words(20, 12) in reading.inner_text()
    area.focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowDown")
    assert words(21, 13) in reading.inner_text()
    find = page.get_by_label("Find an LED")
    find.fill("1/40")
    led = wiring.line_starts[1] + 40
    found = page.locator("section[data-map] [data-part=found]")
    assert words(int(wiring.column[led]), int(wiring.row[led])) in found.inner_text()
    find.fill("99,0")
    assert "Columns go to 35" in found.inner_text()


def test_the_wall_of_a_finding_marks_what_is_wrong(opened):
    page = opened()
    canvas = page.locator("canvas[data-found='0']")
    assert "358 LEDs" in canvas.get_attribute("aria-label")
    marked = canvas.evaluate(
        """canvas => { const side = (canvas.width - 34) / 36;
           const x = Math.round(30 + 4.5 * side), high = Math.ceil(4 * side);
           const {data} = canvas.getContext('2d').getImageData(x, 18, 1, high);
           return [0, 1, 2, 3].map(row => data[4 * Math.round((row + .5) * side)] > 200); }"""
    )
    assert marked == [False, True, False, True]


def test_a_finding_leads_to_the_picture_that_shows_it(opened):
    page = opened()
    choose(page, "✓ rows")
    button = page.locator(".finding button")
    name, at = re.match(r"See it in pattern (.+), step (\d+)", button.inner_text()).groups()
    button.press("Enter")
    loaded(page, f"✗ {name}")
    assert part(page, "film").locator("option:checked").inner_text() == f"✗ {name}"
    assert f"step {at} of" in part(page, "told").inner_text()
    assert "✗" in part(page, "told").inner_text()


def test_it_prints_to_a4_with_a_sheet_of_the_patterns(opened, tmp_path):
    page = opened()
    page.clock.run_for(5000)
    page.wait_for_function("document.querySelectorAll('#paper canvas').length > 20")
    page.emulate_media(media="print")
    for hidden in ("#player", "#theme", "section[data-map] .controls"):
        assert not page.locator(hidden).first.is_visible()
    assert page.locator("#paper canvas").first.is_visible()
    pdf = page.pdf(prefer_css_page_size=True)
    boxes = re.findall(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)\s*\]", pdf)
    assert boxes
    for wide, high in boxes:  # ISO 216: 210 mm × 297 mm
        assert float(wide) == pytest.approx(210 * 72 / 25.4, abs=1)
        assert float(high) == pytest.approx(297 * 72 / 25.4, abs=1)


def test_keys_alone_reach_every_control(opened):
    page = opened()
    wanted = page.evaluate(
        """() => { const all = [...document.querySelectorAll(
             'button:not(:disabled), select, input:not(:disabled), summary, [tabindex="0"]')]
             .filter(one => one.checkVisibility());
           all.forEach((one, n) => one.dataset.wanted = n); return all.length; }"""
    )
    reached = set()
    for _ in range(wanted + 4):
        page.keyboard.press("Tab")
        reached.add(page.evaluate("document.activeElement.dataset.wanted"))
        if page.evaluate("document.activeElement !== document.body"):
            shown = "getComputedStyle(document.activeElement).outlineStyle"
            assert page.evaluate(shown) == "solid"
    assert {str(n) for n in range(wanted)} <= reached
    part(page, "film").focus()
    page.keyboard.press("End")
    loaded(page, "✗ coded")
    part(page, "play").focus()
    page.keyboard.press("Space")
    assert part(page, "play").inner_text() == "Pause"


@pytest.mark.parametrize(("wide", "colours"), [(390, "light"), (1400, "dark")])
def test_axe_finds_nothing_and_nothing_is_cut_off(opened, wide, colours):
    """axe-core, from the npm registry: WCAG 2.2 and best practices."""
    page = opened(viewport={"width": wide, "height": 800}, color_scheme=colours)
    page.clock.run_for(2000)
    page.locator("summary").click()
    assert page.evaluate("document.documentElement.scrollWidth") <= wide
    assert violations(page) == []


def test_axe_finds_nothing_in_failed_tests(opened):
    page = opened("failed")
    page.clock.run_for(2000)
    page.locator("summary").first.click()
    assert violations(page) == []


def violations(page):
    if shutil.which("node") is None:
        pytest.skip("node is not installed: Debian's package nodejs")
    told = subprocess.run(
        ["node", "-p", "require.resolve('axe-core/axe.min.js')"],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    if told.returncode:
        pytest.skip(
            "axe-core is not installed: npm install --prefix DIR axe-core, and set NODE_PATH to"
            " DIR/node_modules"
        )
    page.evaluate(f"{Path(told.stdout.strip()).read_text('utf-8')}; 0")
    found = page.evaluate("axe.run()")
    assert len(found["passes"]) > 20
    return [(v["id"], [node["html"] for node in v["nodes"]]) for v in found["violations"]]


def test_the_switch_changes_the_colours_and_the_system_chooses_at_first(opened):
    page = opened(color_scheme="dark")
    paper = "getComputedStyle(document.body).backgroundColor"
    dark = page.evaluate(paper)
    page.locator("#theme").select_option("light")
    light = page.evaluate(paper)
    assert (
        sum(map(int, re.findall(r"\d+", light)))
        > 600
        > 200
        > sum(map(int, re.findall(r"\d+", dark)))
    )
    page.locator("#theme").select_option("auto")
    assert page.evaluate(paper) == dark
    page.emulate_media(color_scheme="light")
    assert page.evaluate(paper) == light


def test_no_text_of_a_user_runs(chromium, files):
    page, said = chromium.new_page(), []
    page.on("pageerror", lambda error: said.append(str(error)))
    page.on("console", lambda message: said.append(message.text))
    for number in range(len(EVIL)):
        page.goto((files / f"evil{number}.html").as_uri())
        page.wait_for_selector("#player canvas")
        page.mouse.move(5, 5)
        page.keyboard.press("Tab")
        assert page.evaluate("window.broken") is None
        assert page.locator("img").count() == 1  # the one picture of a failed test
        assert page.locator("script").count() == 2
    assert said == []
    broken = page.evaluate(
        """() => { const one = document.createElement('script'); one.textContent =
           'window.broken = 2'; document.body.append(one); return window.broken; }"""
    )
    assert broken is None  # the policy, on top of the escaping
    assert "Content Security Policy" in said[0]
    page.close()
