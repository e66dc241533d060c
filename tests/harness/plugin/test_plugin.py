from __future__ import annotations

import re
import shutil
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pygame
import pytest
from PIL import Image

# Pytester forgets what an inner run imports first.
import harness.plugin.benchoutput
import harness.plugin.failures  # noqa: F401
import scenes
from emulator import SimulatedClock, load_display, parse_display
from emulator.view.controls import Action
from emulator.window.screen import Screen
from harness.assertions.runningtest import RunningTest
from harness.checks.check import CHECKS
from harness.patterns.pattern import PATTERNS
from harness.plugin import window
from harness.report.check.cellpicture import LEFT, TOP
from harness.simulated.watched import WatchedBench
from tests.tables import telling

SHOWS = """
    def test_name(display):
        assert display.name == {name!r}
"""


@pytest.fixture(autouse=True)
def _a_project_that_names_the_foyer(pytester):
    pytester.makeini("[pytest]\nforeglow_display = foyer\n")


def test_a_project_that_names_no_display_is_told_so(pytester):
    pytester.makeini("[pytest]\n")
    pytester.makepyfile(
        "def test_theirs(display): pass\ndef test_another(bench): pass\ndef test_plain(): pass\n"
    )
    result = pytester.runpytest()
    result.assert_outcomes(errors=2, passed=1)
    result.stdout.fnmatch_lines(["*no display is named for the fixtures of foreglow*"])
    result.stdout.fnmatch_lines(["*Fix: write foreglow_display = mywall.toml in the ini file*"])


def test_the_ini_key_chooses_the_display(pytester):
    pytester.makeini("[pytest]\nforeglow_display = banner\n")
    pytester.makepyfile(SHOWS.format(name="banner"))
    pytester.runpytest().assert_outcomes(passed=1)


def test_the_option_is_stronger_than_the_ini_key(pytester):
    pytester.makeini("[pytest]\nforeglow_display = banner\n")
    pytester.makepyfile(SHOWS.format(name="sign"))
    pytester.runpytest("--foreglow-display", "sign").assert_outcomes(passed=1)


def test_the_marker_is_stronger_than_the_option(pytester):
    test = SHOWS.format(name="sign").replace(
        "    def", "    import pytest\n    @pytest.mark.foreglow_display('sign')\n    def", 1
    )
    pytester.makepyfile(test)
    pytester.runpytest("--foreglow-display", "banner", "--strict-markers").assert_outcomes(passed=1)


def test_a_path_is_taken_from_the_root_folder(pytester):
    text = "[grid]\ncolumns=2\nrows=1\n[chip]\npart='SK6812'\n[wiring]\n"
    pytester.makefile(".toml", wall=text)
    pytester.makepyfile(SHOWS.format(name="wall"))
    pytester.runpytest("--foreglow-display", "wall.toml").assert_outcomes(passed=1)


def test_a_display_file_with_a_mistake_is_told_without_a_traceback_of_ours(pytester):
    pytester.makefile(".toml", wall="[grid]\ncolumns=2\nrow=1\n[chip]\npart='SK6812'\n[wiring]\n")
    pytester.makepyfile(SHOWS.format(name="wall"))
    result = pytester.runpytest("--foreglow-display", "wall.toml")
    result.assert_outcomes(errors=1)
    result.stdout.fnmatch_lines(["*unknown key 'row' in [[]grid]", "*Did you mean 'rows'?*"])
    result.stdout.no_fnmatch_line("*ValidationError*")
    result.stdout.no_fnmatch_line("*load_display*")


def test_a_bench_passes_what_is_right_and_shows_what_is_wrong_in_pictures(pytester):
    pytester.makepyfile(
        """
        import numpy as np
        from harness.assertions import assert_shows

        def bar(display):
            picture = np.zeros(display.picture_shape, np.uint8)
            picture[2, 1:5] = (255, 0, 0)
            return picture

        def test_right(bench, display):
            bench.send(bar(display))
            assert_shows(bench, bar(display))

        def test_wrong(bench, display):
            bench.send(bar(display)[:, ::-1])
            assert_shows(bench, bar(display))
        """
    )
    result = pytester.runpytest("--foreglow-display", "sign")
    result.assert_outcomes(passed=1, failed=1)
    result.stdout.fnmatch_lines(
        [
            "*8 of 128 cells differ; the first is column 1, row 2 (line 0, LED 46):"
            " expected #ff0000, shown #000000",
            "*expected          shown             different",
            "*.RRRR...........  ...........RRRR.  .XXXX......XXXX.",
        ]
    )


# Several displays ------------------------------------------------------------------------


def test_a_test_runs_for_each_display_its_marker_names(pytester):
    pytester.makefile(".toml", wall="[grid]\ncolumns=2\nrows=1\n[chip]\npart='SK6812'\n[wiring]\n")
    pytester.makepyfile(
        """
        import pytest

        @pytest.mark.foreglow_display("foyer", "wall.toml")
        def test_each(bench):
            assert bench.display.name in ("foyer", "wall")

        @pytest.mark.foreglow_display("sign")
        def test_one(bench):
            assert bench.display.name == "sign"
        """
    )
    result = pytester.runpytest("-v", "--strict-markers", "--foreglow-display", "banner")
    result.assert_outcomes(passed=3)
    result.stdout.fnmatch_lines(
        ["*::test_each[[]foyer] *", "*::test_each[[]wall] *", "*::test_one *"]
    )


@pytest.mark.parametrize("names", telling(["", "3", "'foyer', None"], lambda names: names == "3"))
def test_a_marker_that_names_no_display_says_so(pytester, names):
    pytester.makepyfile(
        f"""
        import pytest

        @pytest.mark.foreglow_display({names})
        def test_it(bench):
            pass
        """
    )
    result = pytester.runpytest()
    assert result.ret != 0
    result.stdout.fnmatch_lines(["*the marker foreglow_display names no display*", "*Fix:*"])


# Time ------------------------------------------------------------------------------------


def test_ten_minutes_of_sleeping_are_ten_minutes_of_the_bench(pytester):
    pytester.makepyfile(
        """
        import asyncio, time
        import numpy as np
        from time import sleep

        def test_sleep(bench, display):
            begin = time.monotonic(), time.time()
            for _ in range(20):
                bench.send(np.zeros(display.picture_shape, np.uint8))
                sleep(30)
            assert time.monotonic() - begin[0] == bench.clock.now_ns() / 1e9 > 600
            assert abs(time.time() - begin[1] - bench.clock.now_ns() / 1e9) < 1e-6
            assert len(bench.frames) == 20

        def test_asyncio(bench, machine_time):
            asyncio.run(asyncio.sleep(600))
            assert bench.clock.now_ns() == 600 * 10**9
            assert bench.clock is machine_time.clock
            before = time.time()
            machine_time.step(-3600)
            assert time.time() == before - 3600

        def test_the_machine_s_own_time_is_back():
            assert type(time.sleep) is type(len) is type(sleep)
        """
    )
    result = pytester.runpytest("--foreglow-display", "sign", "--durations=0", "-vv")
    result.assert_outcomes(passed=3)
    # pytest measures with the machine's time: minutes would be simulated ones.
    shown = re.findall(r"([\d.]+)s call", result.stdout.str())
    assert shown
    assert all(float(seconds) < 300 for seconds in shown)


def test_hypothesis_measures_with_the_machines_time(pytester):
    pytester.makepyfile(
        """
        import time
        from hypothesis import HealthCheck, given, settings, strategies as st

        @settings(suppress_health_check=list(HealthCheck), max_examples=5, deadline=60_000)
        @given(seconds=st.integers(300, 600))
        def test_it(bench, seconds):
            time.sleep(seconds)  # a deadline of one minute, and it is kept
        """
    )
    pytester.runpytest().assert_outcomes(passed=1)


def test_pytest_timeout_measures_with_the_machines_time(pytester):
    pytest.importorskip("pytest_timeout")
    pytester.makepyfile(
        """
        import pytest, time

        @pytest.mark.timeout(60)
        def test_it(bench):
            time.sleep(600)
        """
    )
    pytester.runpytest().assert_outcomes(passed=1)


REAL = """
    import time
    import pytest
    {mark}
    def test_it(bench, machine_time):
        assert machine_time is None
        assert type(time.sleep) is type(len)
        before = bench.clock.now_ns()
        time.sleep(0.001)
        assert bench.clock.now_ns() - before >= 1_000_000
"""


def test_a_marker_leaves_the_time_real(pytester):
    pytester.makepyfile(REAL.format(mark="@pytest.mark.foreglow_real_time"))
    pytester.runpytest("--strict-markers").assert_outcomes(passed=1)


def test_the_ini_key_leaves_the_time_real(pytester):
    pytester.makeini("[pytest]\nforeglow_display = foyer\nforeglow_real_time = true\n")
    pytester.makepyfile(REAL.format(mark=""))
    pytester.runpytest().assert_outcomes(passed=1)


def test_time_is_put_back_where_a_test_ends_in_an_error(pytester):
    pytester.makepyfile(
        """
        import time, pytest

        def test_error(bench):
            raise KeyError("x")

        def test_skip(bench):
            pytest.skip("enough")

        def test_after():
            assert type(time.sleep) is type(len)
        """
    )
    pytester.runpytest().assert_outcomes(passed=1, failed=1, skipped=1)


def test_memory_is_the_bench_of_the_test(pytester):
    pytester.makepyfile(
        """
        import numpy as np
        import pytest
        from emulator import Bench, load_display, open_output
        from emulator.errors import ForeglowError

        def test_own(bench, display):
            with open_output("memory:", load_display("sign")) as out:
                out.send(np.full(display.picture_shape, 255, np.uint8))
            assert out.bench is bench
            assert len(bench.frames) == len(bench.sent) == 1
            with pytest.raises(ForeglowError):
                out.send(np.zeros(display.picture_shape, np.uint8))

        def test_other(bench):
            out = open_output("memory:", load_display("banner"))
            out.send(np.zeros(out.bench.display.picture_shape, np.uint8))
            assert out.bench is not bench and len(bench.frames) == 0
            assert bench.clock.now_ns() == out.bench.clock.now_ns() > 0

        def test_outside(display):
            assert type(open_output("memory:", display).bench) is Bench
        """
    )
    pytester.runpytest("--foreglow-display", "sign").assert_outcomes(passed=3)


# Stored pictures -------------------------------------------------------------------------

STORED = """
    import numpy as np
    import pytest
    from harness.assertions import assert_picture, assert_sequence

    COLOUR = {colour}

    @pytest.mark.foreglow_display({names})
    def test_bar(bench, display):
        picture = np.zeros(display.picture_shape, np.uint8)
        picture[1, 2:5] = COLOUR
        bench.send(picture)
        assert_picture(bench, "bar")
        assert_sequence(bench, "bars")
"""


def test_stored_pictures_are_missed_made_kept_and_changed(pytester):
    pytester.makepyfile(test_it=STORED.format(colour=(255, 0, 0), names='"sign"'))
    result = pytester.runpytest()
    result.assert_outcomes(failed=1)
    result.stdout.fnmatch_lines(
        [
            "*pictures/test_it/bar.png does not exist yet",
            "*To store what is shown: pytest test_it.py::test_bar --foreglow-update",
        ]
    )
    assert not (pytester.path / "pictures").exists()

    result = pytester.runpytest("--foreglow-update")
    result.assert_outcomes(passed=1)
    result.stdout.fnmatch_lines(
        ["*foreglow: stored*", "pictures/test_it/bar.png", "pictures/test_it/bars.npz"]
    )
    with Image.open(pytester.path / "pictures/test_it/bar.png") as image:  # against Pillow
        assert image.size == (16, 8)
        assert [image.getpixel((column, 1)) for column in (1, 2, 4, 5)] == [
            (0, 0, 0),
            (255, 0, 0),
            (255, 0, 0),
            (0, 0, 0),
        ]

    result = pytester.runpytest("--foreglow-update")
    result.assert_outcomes(passed=1)
    result.stdout.no_fnmatch_line("*foreglow: stored*")
    pytester.runpytest().assert_outcomes(passed=1)

    pytester.makepyfile(test_it=STORED.format(colour=(0, 255, 0), names='"sign"'))
    result = pytester.runpytest()
    result.assert_outcomes(failed=1)
    result.stdout.fnmatch_lines(["*3 of 128 cells differ; * expected #ff0000, shown #00ff00*"])
    # A failure points to the line of the test, not into the assertion.
    result.stdout.fnmatch_lines(["*test_it.py:12: PictureFailure"])
    assert "harness/assertions" not in result.stdout.str()
    # The runs within this test have left its own pictures where they are.
    assert RunningTest.now().folder == Path(__file__).parent / "pictures" / "test_plugin"


def test_each_display_and_each_module_has_pictures_of_its_own(pytester):
    test = STORED.format(colour=(255, 0, 0), names='"sign", "foyer"')
    pytester.makepyfile(test_one=test, test_two=test)
    pytester.runpytest("--foreglow-update").assert_outcomes(passed=4)
    stored = sorted(str(p.relative_to(pytester.path)) for p in pytester.path.rglob("pictures/*/*"))
    assert stored == [
        f"pictures/test_{module}/{name}-{display}.{ending}"
        for module in ("one", "two")
        for name, display, ending in [
            ("bar", "foyer", "png"),
            ("bar", "sign", "png"),
            ("bars", "foyer", "npz"),
            ("bars", "sign", "npz"),
        ]
    ]
    pytester.runpytest().assert_outcomes(passed=4)


def test_the_command_in_a_message_is_right_where_it_was_typed(pytester):
    folder = pytester.mkdir("sub")
    (folder / "test_it.py").write_text(
        "from harness.assertions import assert_picture\n"
        "def test_it(bench):\n"
        "    bench.send_frame(bytes(3 * bench.display.leds))\n    assert_picture(bench, 'dark')\n"
    )
    (pytester.path / "other").mkdir()
    pytester.makeini("[pytest]\nforeglow_display = foyer\n")
    result = pytester.runpytest("sub/test_it.py")
    result.stdout.fnmatch_lines(["*To store what is shown: pytest sub/test_it.py::test_it *"])


# Failures in pictures --------------------------------------------------------------------

WRONG = """
    import numpy as np
    import pytest
    from harness.assertions import assert_shows

    def bar(display, column):
        picture = np.zeros(display.picture_shape, np.uint8)
        picture[1, column] = (255, 0, 0)
        return picture

    @pytest.mark.parametrize("column", [3, 5, "<b>"])
    def test_wrong(bench, display, column):
        bench.send(bar(display, 2))
        if column == "<b>":
            raise ValueError("<script>alert(1)</script>")
        assert_shows(bench, bar(display, column))

    def test_right(bench, display):
        bench.send(bar(display, 2))
        assert_shows(bench, bar(display, 2))
"""
RIGHT = "def test_right(bench):\n    pass\n"


def cell(image, column, row, columns):
    """The colour in the middle of a cell, as (red, green, blue)."""
    side = (image.width - LEFT) // columns
    at = (LEFT + int((column + 0.5) * side), TOP + int((row + 0.5) * side))
    return image.convert("RGB").getpixel(at)


def judge_report(folder):
    """The page and the pictures of WRONG are there and right."""
    page = (folder / "index.html").read_text()
    assert "3 failed tests" in page
    for test in ("test_wrong[3]", "test_wrong[5]", "test_wrong[&lt;b&gt;]"):
        assert page.count(f"test_it.py::{test}") >= 2  # in the list, and above its pictures
    assert "&lt;script&gt;" in page
    assert page.count("<script") == 2  # its data, and its own
    assert not re.search(r"(src|href)=.(?!data:image/png;base64,|#t\d)", page), (
        "needs no other file"
    )
    assert len(list((folder / "pictures").iterdir())) == 7
    assert "<img" not in page  # only charts of failures over time are pictures
    assert page.count('class="player"') == 3
    assert page.count("data-map=") == 1  # of one wall
    for column in (3, 5):
        name = {
            label: next((folder / "pictures").glob(f"*wrong_{column}*-{label}.png"))
            for label in ("expected", "shown", "different")
        }
        with Image.open(name["expected"]) as image:
            assert cell(image, column, 1, 16) == (255, 0, 0)
            assert cell(image, 2, 1, 16) == (0, 0, 0)
        with Image.open(name["shown"]) as image:
            assert cell(image, 2, 1, 16) == (255, 0, 0)
        with Image.open(name["different"]) as image:
            assert cell(image, 2, 1, 16) == cell(image, column, 1, 16) == (255, 0, 0)
            assert cell(image, 7, 1, 16) == (0, 0, 0)


def test_failures_make_pictures_and_a_page_and_a_good_run_takes_them_away(pytester):
    pytester.makepyfile(test_it=WRONG)
    result = pytester.runpytest("--foreglow-display", "sign")
    result.assert_outcomes(passed=1, failed=3)
    result.stdout.fnmatch_lines(
        [
            "*the wall when the test failed*",
            "..R.............",
            "foreglow-failures/index.html",
            "FAILED *- AssertionError: 2 of 128 cells*",
        ]
    )
    folder = pytester.path / "foreglow-failures"
    judge_report(folder)

    (folder / "pictures/mine.txt").write_text("not of foreglow")
    result = pytester.runpytest("--foreglow-display", "sign", "-k", "right")
    result.assert_outcomes(passed=1, deselected=3)
    assert [p.name for p in folder.rglob("*") if p.is_file()] == ["mine.txt"]
    result.stdout.no_fnmatch_line("*foreglow:*")


@pytest.mark.slow
def test_several_workers_make_one_page_and_tell_what_they_stored(pytester):
    stored = STORED.format(colour=(255, 0, 0), names='"sign"')
    pytester.makepyfile(test_it=WRONG, test_one=stored, test_two=stored)
    asked = ("--foreglow-display", "sign", "--foreglow-update", "--foreglow-report", "out/put")
    result = pytester.runpytest("-n", "2", *asked)
    result.assert_outcomes(passed=3, failed=3)
    result.stdout.fnmatch_lines(["out/put/index.html"])
    judge_report(pytester.path / "out/put")
    assert not (pytester.path / "foreglow-failures").exists()
    for module in ("one", "two"):
        assert f"pictures/test_{module}/bar.png" in result.outlines
        assert (pytester.path / f"pictures/test_{module}/bar.png").is_file()


def test_tests_of_like_names_have_pictures_of_their_own(pytester):
    pytester.makepyfile(
        """
        import pytest
        from harness.assertions import assert_lit

        @pytest.mark.parametrize("name", ["a+b", "a*b", "a/b", "Ä", "Ö"])
        def test_it(bench, name):
            assert_lit(bench, 1)
        """
    )
    pytester.runpytest().assert_outcomes(failed=5)
    assert len(list(pytester.path.glob("foreglow-failures/pictures/*.png"))) == 5


def test_a_page_of_somebody_else_is_left_alone_by_a_good_run(pytester):
    folder = pytester.mkdir("foreglow-failures")
    (folder / "index.html").write_text("<p>mine</p>")
    pytester.makepyfile(RIGHT)
    pytester.runpytest().assert_outcomes(passed=1)
    assert (folder / "index.html").read_text() == "<p>mine</p>"
    assert not (pytester.path / "foreglow-failures/pictures").exists()


def test_a_report_that_cannot_be_written_says_so_and_changes_nothing_else(pytester):
    (pytester.path / "taken").write_text("a file where a folder should be")
    pytester.makepyfile(test_it=WRONG)
    result = pytester.runpytest("--foreglow-display", "sign", "--foreglow-report", "taken")
    result.assert_outcomes(passed=1, failed=3)
    result.stdout.fnmatch_lines(["*taken/index.html: cannot be written*"])


def test_a_page_of_before_that_cannot_be_taken_away_stops_no_test(pytester):
    pytester.makepyfile("def test_dark(bench):\n    assert False\n")
    pytester.runpytest().assert_outcomes(failed=1)
    # As in a folder that may not be written to, which nothing keeps root from.
    (pytester.path / "foreglow-failures" / "pictures" / "stays.png").mkdir()
    pytester.runpytest().assert_outcomes(failed=1)


def test_a_failure_that_was_expected_makes_no_page(pytester):
    pytester.makepyfile(
        """
        import pytest
        from harness.assertions import assert_lit

        @pytest.mark.xfail
        def test_expected(bench):
            assert_lit(bench, 1)

        def test_raises(bench):
            with pytest.raises(AssertionError):
                assert_lit(bench, 1)
        """
    )
    pytester.runpytest().assert_outcomes(passed=1, xfailed=1)
    assert not (pytester.path / "foreglow-failures").exists()


# The window ------------------------------------------------------------------------------


def test_a_window_shows_the_run_and_changes_nothing_in_it(pytester, monkeypatch):
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    monkeypatch.setattr("harness.plugin.window.OutsideClock", SimulatedClock)
    pytester.makepyfile(
        """
        import time
        import numpy as np
        from harness.assertions import assert_sequence

        def test_it(bench, display):
            for number in range(3):
                bench.send(np.full(display.picture_shape, 40 * number, np.uint8))
                time.sleep(0.5)
            assert len(bench.frames) == 3
            assert bench.clock.now_ns() > 1.5e9
        """
    )
    result = pytester.runpytest("--foreglow-window", "--foreglow-display", "sign")
    result.assert_outcomes(passed=1)


def test_a_window_needs_a_screen_and_says_so(pytester, monkeypatch):
    for name in ("DISPLAY", "WAYLAND_DISPLAY", "SDL_VIDEODRIVER", "SDL_VIDEO_DRIVER"):
        monkeypatch.delenv(name, raising=False)
    pytester.makepyfile(RIGHT)
    result = pytester.runpytest("--foreglow-window")
    assert result.ret == pytest.ExitCode.USAGE_ERROR
    result.stderr.fnmatch_lines(["ERROR: --foreglow-window: no screen to open a window on*"])


def test_a_window_is_for_one_process(pytester):
    pytester.makepyfile(RIGHT)
    result = pytester.runpytest("--foreglow-window", "-n", "2")
    assert result.ret == pytest.ExitCode.USAGE_ERROR
    result.stderr.fnmatch_lines(["*can show the tests of one process only*", "*leave out -n*"])


@pytest.fixture
def viewer(monkeypatch, request):
    """What --foreglow-window shows of a bench, on a simulated clock: frames as (time, level)."""
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    clock = SimulatedClock()
    monkeypatch.setattr(window, "OutsideClock", lambda: clock)
    shown, draw = [], Screen.draw

    def drawn(screen, drives, light, status):
        if not shown or shown[-1][1] != drives.max():
            shown.append((clock.now_ns() / 1e9, int(drives.max())))
        return draw(screen, drives, light, status)

    monkeypatch.setattr(Screen, "draw", drawn)
    bench = WatchedBench(
        parse_display(
            "[grid]\ncolumns=4\nrows=2\n[chip]\npart='WS2812B'\n[wiring]\n", Path("w.toml")
        )
    )
    test = pytest.Function.from_parent(request.node.parent, name="shown", callobj=lambda: None)
    test.config.stash[window._CLOSED] = False

    def watch(levels, period_s):
        with window.watching(bench, test):
            for number, level in enumerate(levels):
                bench.clock.wait_until(round(number * period_s * 1e9))
                bench.send_frame(np.full(24, level, np.uint8))
        return shown

    watch.monkeypatch, watch.clock, watch.bench = monkeypatch, clock, bench
    yield watch
    test.config.stash[window._CLOSED] = False
    pygame.display.quit()


def test_frames_are_shown_when_they_are_latched(viewer):
    shown = viewer([10, 20, 30], 0.5)
    assert [level for _, level in shown] == [0, 10, 20, 30]
    for (seen_s, _), latched_ns in zip(shown[1:], viewer.bench.recorder.times_ns, strict=True):
        assert 0 <= seen_s - latched_ns / 1e9 < 0.02
    assert viewer.clock.now_ns() / 1e9 > shown[-1][0] + 0.5  # the last one stays for a moment


def test_a_long_wait_is_cut_short(viewer):
    (_, _), (first_s, _), (second_s, _) = viewer([10, 20], 3600)
    assert 0.9 < second_s - first_s < 1.1
    assert viewer.bench.recorder.times_ns[1] > 3600e9


def test_what_is_recorded_is_the_same_as_unseen(viewer):
    plain = viewer.bench.recorder
    viewer([10, 20, 30], 0.01)
    assert viewer.bench.recorder is plain
    assert plain.drives[:, 0, 0].tolist() == [10, 20, 30]


def pressed(viewer, actions):
    """Let the window's user do something at the n-th time events are taken."""
    count, pump = [0], Screen.pump

    def acting(screen):
        pump(screen)
        count[0] += 1
        if action := actions.get(count[0]):
            screen.state.do(Action[action])

    viewer.monkeypatch.setattr(Screen, "pump", acting)


def test_a_pause_holds_the_test_and_a_step_lets_one_frame_through(viewer):
    pressed(viewer, {1: "PAUSE", 100: "STEP", 300: "PAUSE"})
    times = {level: seen_s for seen_s, level in viewer([10, 20, 30], 0.01)}
    assert times[10] > 0.3  # 100 times a quarter of a screen period
    assert times[20] - times[10] > 0.7
    assert times[30] - times[20] < 0.1


def test_in_simulated_time_every_frame_is_drawn_at_once(viewer):
    pressed(viewer, {1: "TIME"})
    shown = viewer(range(10, 40), 0.5)
    assert [level for _, level in shown] == [0, *range(10, 40)]
    assert shown[-1][0] < 0.1


def test_a_closed_window_lets_the_rest_run_unseen(viewer):
    pressed(viewer, {20: "QUIT"})
    shown = viewer([10, 20, 30], 0.5)
    assert len(viewer.bench.recorder) == 3
    assert len(shown) < 4
    before = len(shown)
    assert len(viewer([40, 50], 0.5)) == before  # and no new one is opened


# The example -----------------------------------------------------------------------------


@pytest.mark.slow
def test_the_example_project_passes_its_own_tests_and_fails_when_the_show_is_changed(
    pytester, monkeypatch
):
    monkeypatch.setattr(sys, "dont_write_bytecode", True)  # the show changes within a second
    source = Path(scenes.__file__).parent / "example"
    ignored = shutil.ignore_patterns("__pycache__", ".*", "foreglow-*")
    shutil.copytree(source, pytester.path, ignore=ignored, dirs_exist_ok=True)
    # 7 of the show, 7 of its index map, and the checks of foreglow
    pytester.runpytest().assert_outcomes(passed=14 + len(CHECKS))

    show = pytester.path / "barsign.py"
    text = show.read_text().replace("range(4)", "range(3)").replace("HOUR = 22", "HOUR = 24")
    show.write_text(text)
    # The lamp's tail on two displays, the stored lap, the late evening.
    pytester.runpytest().assert_outcomes(passed=10 + len(CHECKS), failed=4)
    assert "4 failed tests" in (pytester.path / "foreglow-failures/index.html").read_text()


@pytest.mark.slow
def test_the_show_of_the_example_project_passes_its_own_tests(pytester):
    source = Path(scenes.__file__).parent / "example"
    ignored = shutil.ignore_patterns("__pycache__", ".*", "foreglow-*")
    shutil.copytree(source, pytester.path, ignore=ignored, dirs_exist_ok=True)
    pytester.runpytest("test_barsign.py").assert_outcomes(passed=7)


@pytest.fixture
def example(pytester, monkeypatch):
    """A copy of the example project's index map and its tests; the map can be broken."""
    monkeypatch.setattr(sys, "dont_write_bytecode", True)  # the map changes within a second
    source = Path(scenes.__file__).parent / "example"
    for name in ("barsign.toml", "barwire.py", "test_barwire.py", "pytest.ini"):
        shutil.copy(source / name, pytester.path)

    def broken(old: str, new: str) -> None:
        path = pytester.path / "barwire.py"
        text = path.read_text()
        assert old in text
        path.write_text(text.replace(old, new))

    return broken


# What is wrong with the map: old code, new code.
BROKEN = {
    "no serpentine": ("    grid[1::2] = grid[1::2, ::-1]\n", ""),
    "mirrored": ("return grid.ravel()", "return grid[:, ::-1].ravel()"),
    "one late": ("return grid.ravel()", "return np.roll(grid.ravel(), 1)"),
    "two exchanged": (
        "return grid.ravel()",
        "return np.where(grid == 30, 31, np.where(grid == 31, 30, grid)).ravel()",
    ),
}


@pytest.mark.parametrize("fault", telling(BROKEN, lambda fault: fault == "one late"))
def test_each_way_to_prove_a_map_fails_on_a_wrong_one(pytester, example, fault):
    old, new = BROKEN[fault]
    example(old, new)
    result = pytester.runpytest("-q", "-rf", "-n", "0")
    failed = "\n".join(line for line in result.outlines if line.startswith("FAILED"))
    assert "test_every_led_sits_where_the_code_thinks" in failed  # assert_map
    assert "test_colours_and_levels_are_right_too" in failed  # assert_right
    assert "test_the_patterns_come_out_as_drawn[chase]" in failed  # foreglow_patterns
    assert "foreglow::map" in failed  # foreglow_check
    assert "test_the_wire_carries" not in failed


# Patterns and checks as tests ---------------------------------------------------------------


def test_the_marker_runs_a_test_for_each_pattern_it_names(pytester):
    pytester.makepyfile(
        """
        import pytest

        @pytest.mark.foreglow_patterns("rows", "chase")
        def test_each(display, pattern):
            assert pattern.draw(display, 0).shape == display.picture_shape
        """
    )
    result = pytester.runpytest("-v", "--strict-markers", "-n", "0")
    result.assert_outcomes(passed=2)
    result.stdout.fnmatch_lines(["*test_each[[]rows]*", "*test_each[[]chase]*"])


def test_the_marker_without_names_means_every_pattern(pytester):
    pytester.makepyfile(
        "import pytest\n@pytest.mark.foreglow_patterns\ndef test_each(pattern): pass\n"
    )
    pytester.runpytest("-n", "0").assert_outcomes(passed=len(PATTERNS))


def test_a_pattern_that_is_not_there_is_told_with_those_that_are(pytester):
    pytester.makepyfile(
        "import pytest\n@pytest.mark.foreglow_patterns('chaise')\ndef test_each(pattern): pass\n"
    )
    result = pytester.runpytest("-n", "0")
    result.stdout.fnmatch_lines(
        ["*::test_each: no pattern is called 'chaise'; did you mean 'chase'*"]
    )
    result.stdout.no_fnmatch_line("*harness/plugin*")
    assert result.ret == pytest.ExitCode.INTERRUPTED


def test_the_fixture_pattern_without_the_marker_says_what_it_needs(pytester):
    pytester.makepyfile("def test_each(pattern): pass\n")
    result = pytester.runpytest("-n", "0")
    result.assert_outcomes(errors=1)
    result.stdout.fnmatch_lines(["*the fixture 'pattern' needs the marker foreglow_patterns*"])


def items(result) -> list[str]:
    return [line for line in result.outlines if line.startswith("foreglow::")]


def test_the_ini_key_and_the_option_collect_a_test_for_each_check(pytester, example):
    expected = [f"foreglow::{name}" for name in CHECKS]
    assert items(pytester.runpytest("--collect-only", "-q", "-n", "0")) == expected
    (pytester.path / "pytest.ini").write_text(
        "[pytest]\nforeglow_display = barsign.toml\npythonpath = .\n"
    )
    assert items(pytester.runpytest("--collect-only", "-q", "-n", "0")) == []
    option = ("--foreglow-check", "barwire:to_wire")
    assert items(pytester.runpytest("--collect-only", "-q", "-n", "0", *option)) == expected
    only = pytester.runpytest("--collect-only", "-q", "-n", "0", "test_barwire.py", *option)
    assert items(only) == expected


@pytest.mark.parametrize(
    "words",
    [
        pytest.param(["-k", "foreglow and map"], marks=pytest.mark.slow),
        ["foreglow::map"],
        pytest.param(["-n2", "foreglow::map"], marks=pytest.mark.slow),
    ],
)
def test_one_check_is_chosen_by_expression_or_by_name(pytester, example, words):
    pytester.runpytest("-p", "no:randomly", *words).assert_outcomes(
        passed=1, deselected=0 if "-k" not in words else 6 + len(CHECKS)
    )


@pytest.mark.slow
def test_a_check_and_a_file_are_run_together(pytester, example):
    result = pytester.runpytest("-n", "0", "foreglow::map", "test_barwire.py")
    result.assert_outcomes(passed=8)


def test_single_files_run_without_the_checks(pytester, example):
    assert not items(pytester.runpytest("--collect-only", "-q", "-n", "0", "test_barwire.py"))
    assert items(pytester.runpytest("--collect-only", "-q", "-n", "0", "."))


def test_a_check_that_is_not_there_is_told_with_those_that_are(pytester, example):
    result = pytester.runpytest("-n", "0", "foreglow::mapp")
    assert result.ret == pytest.ExitCode.USAGE_ERROR
    result.stderr.fnmatch_lines(["*there is no check item 'foreglow::mapp'*", "*foreglow::map,*"])


def test_a_check_without_code_to_check_is_told(pytester):
    result = pytester.runpytest("-n", "0", "foreglow::map")
    assert result.ret == pytest.ExitCode.USAGE_ERROR
    result.stderr.fnmatch_lines(["*no code to check is named*", "*foreglow_check = *"])


def test_code_that_cannot_be_asked_fails_every_check_with_its_place(pytester, example):
    example(
        "    drives = LEVELS[picture]", "    raise OSError('no wall')\n    drives = LEVELS[picture]"
    )
    result = pytester.runpytest("-n", "0", "foreglow")
    result.assert_outcomes(failed=len(CHECKS))
    result.stdout.fnmatch_lines(["*barwire.py, line *: OSError while calling*no wall*"])


@pytest.mark.slow
def test_checks_are_in_a_junit_report(pytester, example):
    pytester.runpytest("-n", "0", "--junitxml=tests.xml", "foreglow::map", "foreglow::wire")
    cases = ElementTree.parse(pytester.path / "tests.xml").iter("testcase")
    assert [(case.get("classname"), case.get("name")) for case in cases] == [
        ("foreglow", "wire"),
        ("foreglow", "map"),
    ]


def test_a_csv_map_can_be_checked_too(pytester):
    wiring = load_display("sign").wiring
    rows = zip(wiring.line, wiring.led, wiring.column[::-1], wiring.row, strict=True)
    text = "\n".join(",".join(map(str, row)) for row in rows)
    (pytester.path / "map.csv").write_text(f"line,led,column,row\n{text}\n")
    words = ("-n", "0", "--foreglow-display", "sign", "--foreglow-check", "map.csv")
    pytester.runpytest(*words, "foreglow::map").assert_outcomes(failed=1)


def test_the_installed_package_registers_the_plugin():
    asked = [sys.executable, "-m", "pytest", "--help"]
    text = subprocess.run(asked, capture_output=True, text=True, check=True).stdout
    for name in ("display", "check", "window", "update", "report"):
        assert f"--foreglow-{name}" in text
