"""The text about a picked cell."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from emulator import parse_display
from emulator.view.reading import read_cell
from emulator.view.status import Status, clock_words, rate_words


def test_a_cell_reads_its_place_in_the_wiring_and_its_drive(display):
    drives = np.zeros((display.leds, 3), dtype=np.uint8)
    # Worked by hand: 8 × 4, two lines of two rows, serpentine, gap at columns 3–4 of rows 1–2.
    # Row 1 is line 0's second row and runs right to left: LEDs 8, 9, 10 at columns 7, 6, 5, then
    # past the gap 11, 12, 13 at columns 2, 1, 0. Runs: row 0 is 0, columns 7–5 are 1, 2–0 are 2.
    drives[12] = (255, 0, 13)
    reading = read_cell(display, drives, (1, 1))
    assert reading.cell == "column 1, row 1"
    assert reading.place == "LED 12 · line 0 · run 2"
    assert reading.drive.split() == ["R", "255", "G", "0", "B", "13"]
    # IEC 61966-2-1: linear 13/255 = 0.05098 → 1.055·0.05098^(1/2.4) − 0.055 = 0.2504 → 0x40.
    assert reading.colour_name == "#ff0040"


def test_leds_of_the_second_line_count_from_0(display):
    reading = read_cell(display, np.zeros((display.leds, 3), np.uint8), (0, 2))
    assert reading.place == "LED 0 · line 1 · run 3"


def test_a_gap_says_so(display):
    reading = read_cell(display, np.zeros((display.leds, 3), np.uint8), (4, 2))
    assert (reading.cell, reading.place) == ("column 4, row 2", "gap: no LED")
    assert (reading.drive, reading.colour, reading.colour_name) == ("", None, "")


def test_a_fourth_channel_and_a_line_s_own_name_are_read():
    text = """
[grid]
columns = 2
rows = 1
[chip]
part = "SK6812-RGBW"
[[line]]
name = "left door"
run = [{ from = [0, 0], to = [1, 0] }]
"""
    door = parse_display(text, Path("door.toml"))
    reading = read_cell(door, np.array([[0, 0, 0, 255], [0, 0, 0, 0]], np.uint8), (0, 0))
    assert reading.place == "LED 0 · line 0 (left door) · run 0"
    assert reading.drive.split()[-2:] == ["W", "255"]
    assert reading.colour_name == "#ffffff"


def test_times_and_rates_in_words():
    assert clock_words(0) == "0:00:00.0"
    assert clock_words(59_999_999_999) == "0:00:59.9"
    assert clock_words(36_061_200_000_000) == "10:01:01.2"
    assert rate_words(Status("", 0, frame_rate=29.96, wanted=30.0)) == "30.0 of 30 frames/s"
    assert rate_words(Status("", 0, frame_rate=12.5)) == "12.5 frames/s"
    assert rate_words(Status("", 0)) == ""
