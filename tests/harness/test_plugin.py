from __future__ import annotations

import subprocess
import sys

SHOWS = """
    def test_name(display):
        assert display.name == {name!r}
"""


def test_display_is_the_foyer_by_default(pytester):
    pytester.makepyfile(SHOWS.format(name="foyer"))
    pytester.runpytest().assert_outcomes(passed=1)


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


def test_the_installed_package_registers_the_plugin():
    asked = [sys.executable, "-m", "pytest", "--help"]
    text = subprocess.run(asked, capture_output=True, text=True, check=True).stdout
    assert "--foreglow-display" in text
