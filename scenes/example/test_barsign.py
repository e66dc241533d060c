"""What must hold of the sign, whatever is changed about it."""

# mypy: ignore-errors
from __future__ import annotations

import barsign
import pytest

import emulator
from harness.assertions import (
    assert_brightness,
    assert_cell,
    assert_current_at_most,
    assert_dark,
    assert_frame_rate,
    assert_latched_within,
    assert_lit,
    assert_motion,
    assert_no_flash_hazard,
    assert_not_torn,
    assert_picture,
    assert_sequence,
    assert_volts_at_least,
)


def test_it_reads_bar(bench, display):
    bench.send(barsign.letters(display))
    assert_picture(bench, "bar")  # pictures/test_barsign/bar.png; pytest --foreglow-update
    assert_cell(bench, 3, 2, barsign.WARM)


# For the sign, and for a demo of another size: the code does not count on one wall.
@pytest.mark.foreglow_display("barsign.toml", "foyer")
def test_the_lamp_runs_along_the_top_a_cell_a_frame(bench, display):
    for step in range(3, display.grid.columns - 1):
        bench.send(barsign.lamp(display, step))
        assert_lit(bench, [(step - behind, 0) for behind in range(4)])
    assert_motion(bench, right=1)


def test_once_around_is_as_it_was(bench, display):
    seconds = len(barsign.edge(display)) / barsign.FRAMES_A_SECOND
    with emulator.open_output("memory:", display) as out:  # sends to `bench`
        barsign.run(out, display, seconds)
    assert_sequence(bench, "around", within_ms=1)


def test_ten_minutes_keep_time_and_end_dark(bench, display):
    with emulator.open_output("memory:", display) as out:
        barsign.run(out, display, 600)  # its sleeps take no time here
    assert len(bench.frames) == 600 * barsign.FRAMES_A_SECOND + 1
    assert_frame_rate(bench, at_least=barsign.FRAMES_A_SECOND, jitter_ms=1)
    assert_latched_within(bench, ms=10)
    assert_not_torn(bench)
    assert_dark(bench)


def test_it_draws_little_and_flashes_not(bench, display):
    with emulator.open_output("memory:", display) as out:
        barsign.run(out, display, 10)
    assert_current_at_most(bench, 2.5)
    assert_volts_at_least(bench, 4.5)
    assert_brightness(bench, at_most=0.15)
    assert_no_flash_hazard(bench)


def test_late_in_the_evening_it_is_half_as_bright(bench, display, machine_time):
    machine_time.step(4 * 3600)  # a test begins at six in the evening; now it is ten
    out = emulator.open_output("memory:", display)
    barsign.run(out, display, 1)
    assert_brightness(bench, at_most=0.03)
