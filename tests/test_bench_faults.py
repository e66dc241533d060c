"""The faults of wiring and strips against tables worked by hand, on the bench.

The wall (columns × rows) is 4 × 3, serpentine from the top left in one line: LEDs 0 … 11 sit in
cells 0 1 2 3 / 7 6 5 4 / 8 9 10 11. Each LED is sent its own number and 1, so what an LED
shows says whose data it took: 0 is dark. The tables follow from the WS2812B datasheet: each chip
keeps the first 24 bits after a reset and passes the rest on, and shows what it latched.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from emulator import Bench, SimulatedClock, chip, shorthand
from emulator.asbuilt import Spells
from emulator.clock import SECOND_NS
from emulator.description.display import Display
from emulator.description.faults.kinds import KINDS
from emulator.description.faults.strip import DataOpen
from emulator.description.sections import Grid


def wall(part="WS2812B", lines=1, columns=4, rows=3, start="top-left", along="rows"):
    gap = np.zeros((rows, columns), dtype=bool)
    wiring = shorthand(gap, start, along, lines=lines)
    return Display("wall", Grid(columns=columns, rows=rows), chip(part), wiring)


def numbers(display):
    """Bytes that send each LED its number and 1, on all channels."""
    leds = np.arange(1, display.leds + 1, dtype=np.uint8)
    return np.repeat(leds, display.chip.bytes_per_led)


def shown(display, *faults, frames=1, **settings):
    """Red of each LED after such frames."""
    bench = Bench(display, faults=faults, **settings)
    for _ in range(frames):
        bench.send_frame(numbers(display))
    return bench.drives[:, 0].tolist()


BY_HAND = {
    "run-reversed run=1": [1, 2, 3, 4, 8, 7, 6, 5, 9, 10, 11, 12],
    "runs-exchanged run=0 other=2": [9, 10, 11, 12, 5, 6, 7, 8, 1, 2, 3, 4],
    "run-short run=0": [1, 2, 3, 0, 4, 5, 6, 7, 8, 9, 10, 11],
    "run-short run=0 leds=2": [1, 2, 0, 0, 3, 4, 5, 6, 7, 8, 9, 10],
    "run-long run=0": [1, 2, 3, 4, 6, 7, 8, 9, 10, 11, 12, 0],
    "run-long run=0 leds=3": [1, 2, 3, 4, 8, 9, 10, 11, 12, 0, 0, 0],
    "led-missing led=5": [1, 2, 3, 4, 5, 0, 6, 7, 8, 9, 10, 11],
    "led-extra after=-1": [2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 0],
    "led-extra after=5": [1, 2, 3, 4, 5, 6, 8, 9, 10, 11, 12, 0],
    "led-joined led=1": [1, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11],
    "led-dark led=2": [1, 2, 0, 4, 5, 6, 7, 8, 9, 10, 11, 12],
    "led-swallows led=2": [1, 2, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0],
    "led-swallows led=2 lit=yes": [1, 2, 3, 0, 0, 0, 0, 0, 0, 0, 0, 0],
    "data-open after=2": [1, 2, 3, 0, 0, 0, 0, 0, 0, 0, 0, 0],
    "data-open after=-1": [0] * 12,
    "against-arrow run=1": [1, 2, 3, 4, 0, 0, 0, 0, 0, 0, 0, 0],
    "channel-off led=3 channel=red": [1, 2, 3, 0, 5, 6, 7, 8, 9, 10, 11, 12],
    "channel-on led=3 channel=red": [1, 2, 3, 255, 5, 6, 7, 8, 9, 10, 11, 12],
    # From the bottom right, the first row is the last one planned, and runs to the left.
    "other-corner corner=top-right": [4, 3, 2, 1, 8, 7, 6, 5, 12, 11, 10, 9],
    "other-corner corner=bottom-right": [12, 11, 10, 9, 8, 7, 6, 5, 4, 3, 2, 1],
    # 1200 ns for a 1 and 850 ns as the threshold: 800 ns reads as 0, and is passed on so.
    "other-chip first=4 last=7 chip=WS2811-LOW": [1, 2, 3, 4, 0, 0, 0, 0, 0, 0, 0, 0],
}


@pytest.mark.parametrize("sentence", BY_HAND)
def test_a_fault_shows_what_the_table_by_hand_says(sentence):
    assert shown(wall(), sentence) == BY_HAND[sentence]


@pytest.mark.parametrize("sentence", BY_HAND)
def test_it_shows_the_same_through_the_waveform(sentence):
    assert shown(wall(), sentence, waveform=True) == BY_HAND[sentence]


def test_every_kind_of_wiring_and_strip_has_a_check_by_hand():
    here = Path(__file__).read_text()
    kinds = [name for name, kind in KINDS.items() if kind.stage in ("wiring", "strip")]
    assert not [name for name in kinds if f'"{name} ' not in here]


def test_exchanged_outputs_of_unequal_length_leave_the_rest_dark():
    # Line 0 has rows 0 and 1 (8 LEDs), line 1 has row 2 (4 LEDs).
    found = shown(wall(lines=2), "outputs-exchanged line=0 other=1")
    assert found == [9, 10, 11, 12, 0, 0, 0, 0, 1, 2, 3, 4]


@pytest.mark.parametrize("along", ["rows", "columns"])
@pytest.mark.parametrize("corner", ["top-right", "bottom-left", "bottom-right"])
@pytest.mark.parametrize("columns", [4, 5])
def test_another_corner_is_the_wiring_that_starts_there(columns, corner, along):
    """Against `shorthand`, which describes such a wall from the start."""
    display = wall(columns=columns, rows=4, along=along)
    other = wall(columns=columns, rows=4, along=along, start=corner)
    found = np.array(shown(display, f"other-corner corner={corner}"))
    by_cell = np.zeros(columns * 4, dtype=int)
    by_cell[display.wiring.cell] = found
    assert by_cell[other.wiring.cell].tolist() == list(range(1, columns * 4 + 1))


def test_a_chip_of_32_bits_shifts_all_behind_it_by_eight():
    """24 bits an LED are sent; LEDs 1 and 2 keep 32 each (SK6812RGBW datasheet: G R B W)."""
    display = wall(columns=6, rows=1)
    bytes_ = np.arange(1, 19, dtype=np.uint8)
    bench = Bench(display, faults=["other-chip first=1 last=2 chip=SK6812-RGBW"])
    bench.send_frame(bytes_)
    # G R B of LED 0: 1 2 3. LED 1 takes 4 5 6 7 and adds its white to all; LED 2 takes 8 to 11.
    assert bench.drives.tolist() == [
        [2, 1, 3],
        [5 + 7, 4 + 7, 6 + 7],
        [9 + 11, 8 + 11, 10 + 11],
        [13, 12, 14],
        [16, 15, 17],
        [0, 0, 0],  # the byte that is left is not a whole LED
    ]


def test_a_chip_of_24_bits_among_32():
    display = wall("SK6812-RGBW", columns=3, rows=1)
    bench = Bench(display, faults=["other-chip first=0 last=0 chip=WS2812B"])
    bench.send_frame(np.arange(1, 13, dtype=np.uint8))
    assert bench.drives.tolist() == [[2, 1, 3, 0], [5, 4, 6, 7], [9, 8, 10, 11]]


def test_another_order_exchanges_colours_in_the_piece_alone():
    """The WS2811 takes R G B, the WS2812B G R B (datasheets)."""
    bench = Bench(wall(), faults=["other-chip first=1 last=2 chip=WS2811-HIGH"])
    bench.send_frame(np.tile(np.array([10, 20, 30], dtype=np.uint8), 12))
    assert bench.drives[[0, 1, 2, 3]].tolist() == [
        [20, 10, 30], [10, 20, 30], [10, 20, 30], [20, 10, 30],
    ]  # fmt: skip


def test_a_fast_chip_in_a_slow_line_reads_ones():
    """A 0 of 500 ns is longer than the threshold of the fast mode, (400 + 450) / 2 ns.

    It passes them on as 1s of 600 ns, which the slow chips behind it take for 0s: under 850 ns.
    """
    found = shown(wall("WS2811-LOW"), "other-chip first=4 last=7 chip=WS2811-HIGH")
    assert found == [1, 2, 3, 4] + [255] * 4 + [0] * 4


def test_leds_behind_an_open_joint_keep_what_they_latched():
    """WS2812B datasheet: the output holds until the next reset after new data."""
    display = wall()
    bench = Bench(display, faults=["data-open after=5 share=0.5 spell_s=0.5 seed=3"])
    seen = {"new": 0, "kept": 0}
    for number in range(40):
        bench.clock.wait_until(number * SECOND_NS // 10)
        before = bench.drives[6, 0]
        bench.send_frame(np.full(36, number + 1, dtype=np.uint8))
        assert (bench.drives[:6] == number + 1).all()
        after = set(bench.drives[6:].ravel().tolist())
        assert after in ({number + 1}, {int(before)})
        seen["new" if after == {number + 1} else "kept"] += 1
    assert min(seen.values()) > 5


@pytest.mark.parametrize("share", [0.02, 0.3, 0.9])
def test_a_fault_that_comes_and_goes_is_there_for_its_share_of_the_time(share):
    fault = DataOpen(after=0, share=share, spell_s=0.05, seed=7)
    spells, again = Spells(fault), Spells(fault)
    times = range(0, 400 * SECOND_NS, SECOND_NS // 100)
    there = np.array([spells.there(t) for t in times])
    assert abs(there.mean() - share) < 0.03
    assert there.tolist() == [again.there(t) for t in times]
    begins = np.count_nonzero(np.diff(there.astype(int)) == 1)
    # The mean spell is 50 ms; those between two looks, 10 ms apart, are missed.
    if share < 0.5:
        assert 0.03 < there.sum() / 100 / begins < 0.09


def test_spells_are_the_same_in_whatever_order_times_are_asked():
    fault = DataOpen(after=0, share=0.4, spell_s=0.01, seed=9)
    spells = Spells(fault)
    times = range(0, 100 * SECOND_NS, SECOND_NS // 100)  # thousands of spells
    there = {time_ns: spells.there(time_ns) for time_ns in times}
    for time_ns in (*times[-300:], *times[:300], *times[5000:5300]):
        assert spells.there(time_ns) == there[time_ns]
    assert {True, False} == set(there.values())


def test_several_faults_act_together():
    display = wall()
    found = shown(display, "run-reversed run=1", "led-dark led=0", "data-open after=9")
    assert found == [0, 2, 3, 4, 8, 7, 6, 5, 9, 10, 0, 0]
    # A joint stays with its LED: LED 4 is the last of the reversed run.
    assert shown(display, "run-reversed run=1", "data-open after=4")[8:] == [0, 0, 0, 0]


def test_weak_channels_and_other_batches_change_the_light_and_not_the_drives():
    display = wall()
    faults = ["channel-weak led=1 channel=green level=0.5",
              "other-batch first=4 last=5 red=0.8 green=0.9 blue=1.1"]  # fmt: skip
    bench = Bench(display, faults=faults)
    bench.send_frame(np.full(36, 255, dtype=np.uint8))
    assert (bench.drives == 255).all()
    light = np.ones((12, 3))
    light[1] = 1, 0.5, 1
    light[4:6] = 0.8, 0.9, 1.1
    assert bench.light == pytest.approx(light)
    assert bench.picture.reshape(-1, 3)[display.wiring.cell] == pytest.approx(light)
    powered = Bench(display, faults=faults, powered=True)
    powered.send_frame(np.full(36, 255, dtype=np.uint8))
    healthy = Bench(display, powered=True)
    healthy.send_frame(np.full(36, 255, dtype=np.uint8))
    assert powered.light == pytest.approx(healthy.light * light)


def test_a_dark_channel_takes_no_current():
    full = np.full(36, 255, dtype=np.uint8)
    currents = []
    for faults in ([], ["channel-off led=0 channel=red"]):
        bench = Bench(wall(), powered=True, faults=faults)
        bench.send_frame(full)
        currents.append(bench.current())
    assert currents[0] - currents[1] == pytest.approx(0.020, abs=0.001)  # 20 mA: chips.py


def test_a_channel_that_is_always_lit_shows_on_a_chip_with_a_common_intensity():
    bench = Bench(wall("APA102"), faults=["channel-on led=3 channel=blue"])
    assert bench.light[3].tolist() == [0, 0, 1]
    bench.send(np.zeros((3, 4, 3), dtype=np.uint8))
    assert bench.light[3].tolist() == [0, 0, 1]


def test_a_channel_that_is_always_lit_leaves_the_light_of_the_others():
    """APA102 datasheet: the intensity of 5 bits is common to all three; here it is 8 of 31."""
    bench = Bench(wall("APA102"), faults=["channel-on led=3 channel=blue"])
    bench.leds[:] = 200, 100, 50, 8
    bench.leds.send()
    light = np.array([200, 100, 255]) / 255 * [8 / 31, 8 / 31, 1]
    assert bench.light[3] == pytest.approx(light, abs=0.5 / 255)
    assert bench.light[2] == pytest.approx(np.array([200, 100, 50]) / 255 * 8 / 31)


SLOW = wall("WS2811-LOW", columns=6, rows=1)
PIECE = "other-chip first=1 last=2 chip=SK6812"
RGBW = f"{PIECE}-RGBW"


@pytest.mark.parametrize(
    ("display", "faults", "expected"),
    [
        # 500 ns for a 0 is above the 450 ns of the SK6812: all ones. Its 600 ns for a 1 is below
        # the 850 ns of the WS2811-LOW behind it, whichever LED that is as built: all zeros.
        (SLOW, (PIECE,), [1, 255, 255, 0, 0, 0]),
        (SLOW, (PIECE, "led-missing led=3"), [1, 255, 255, 0, 0, 0]),
        # An input soldered to that before it reads what the chip before reads, and passes on so.
        (SLOW, ("other-chip first=1 last=1 chip=SK6812", "led-joined led=2"), [1, 255, 2, 3, 4, 5]),
        # LED 1 keeps bytes 1 1 1 2 of the input of LED 0, LED 2 then 2 2 3 3, LED 3 3 4 4: red is
        # the second of them, and white, the fourth, adds to it.
        (wall(columns=6, rows=1), (RGBW, "led-joined led=1"), [1, 3, 5, 4, 5, 6]),
        # No data at an input is none at the input that is soldered to it.
        (wall(columns=6, rows=1), ("data-open after=-1", "led-joined led=1"), [0] * 6),
    ],
)  # fmt: skip
def test_chips_read_what_the_chip_before_them_as_built_sends(display, faults, expected):
    assert shown(display, *faults) == expected


def test_white_of_a_piece_adds_to_the_colours_up_to_full():
    """Stated in `other-chip`: 24 bits of full light are red, green, blue, and 8 more the white."""
    bench = Bench(wall("SK6812"), faults=["other-chip first=0 last=0 chip=SK6812-RGBW"])
    bench.leds[:] = 200
    bench.leds.send()
    assert bench.drives[0].tolist() == [255, 255, 255]


@pytest.mark.parametrize("part", ["APA102", "WS2801", "LPD8806"])
def test_clocked_chips_have_the_same_faults(part):
    display = wall(part)
    bench = Bench(display, faults=["led-missing led=2"])
    whole = Bench(display)
    picture = np.zeros((3, 4, 3), dtype=np.uint8)
    picture[0, 0] = picture[0, 3] = 255
    for one in (bench, whole):
        one.send(picture)
    light, meant = bench.light[:, 0], whole.light[:, 0]
    assert meant.tolist() == [1, 0, 0, 1] + [0] * 8
    # LED 3 gets the data of LED 2 (black), and LED 4 those of LED 3.
    assert (light[3], light[4]) == (0, 1)


def test_what_is_sent_and_the_plan_stay_as_they_are():
    display = wall(lines=2)
    bench = Bench(display, faults=["run-long run=0", "outputs-exchanged line=0 other=1"])
    assert bench.display.wiring == display.wiring
    assert [strip.leds for strip in bench.strips] == [4, 9]
    sent = bench.send_frame(numbers(display))
    assert [line.leds_short for line in sent.lines] == [0, 5]
    assert sent.lines[0].bytes_over == 4 * 3


def test_frames_sent_as_a_stack_are_those_sent_one_by_one():
    display = wall()
    faults = ["data-open after=5 share=0.4 spell_s=0.02 seed=1", "run-reversed run=0"]
    frames = np.random.default_rng(0).integers(0, 256, (20, 36), dtype=np.uint8)
    stack, single = Bench(display, faults=faults), Bench(display, faults=faults)
    stack.send_frames(frames, SECOND_NS // 60)
    for number, frame in enumerate(frames):
        single.clock.wait_until(number * (SECOND_NS // 60))
        single.send_frame(frame)
    assert np.array_equal(stack.frames, single.frames)


def test_faults_of_the_display_act_without_being_named():
    display = wall()
    built = replace(display, faults=Bench(display, faults=["led-dark led=0"]).display.faults)
    assert shown(built)[0] == 0
    assert shown(built, "led-dark led=1")[:3] == [0, 0, 3]
    assert Bench(built, SimulatedClock()).display.faults[0].led == 0


def test_a_wall_without_its_only_led_stays_dark():
    display = wall(columns=1, rows=1)
    bench = Bench(display, faults=["led-missing led=0", "busy-computer share=1", "chips-reset"])
    bench.send(np.ones(display.picture_shape))
    assert not bench.picture.any()
    assert bench.drives.shape == (1, 3)
