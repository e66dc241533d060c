"""Faults of the data wire on the bench, where the levels are those of the moment."""

from __future__ import annotations

import numpy as np
import pytest

from emulator import Bench, FaultError, chip, shorthand
from emulator.clock import SECOND_NS
from emulator.description.display import Display
from emulator.description.power import FeedSection, PowerSection, SupplySection
from emulator.description.sections import Grid


def wall(part="WS2812B", **feed):
    """60 LEDs on one feed at the far end, so that the first LED has the lowest rail."""
    wiring = shorthand(np.zeros((1, 60), dtype=bool))
    power = PowerSection(
        supply=[SupplySection(volts=5.0, amps=20.0)], feed=[FeedSection(led=59, **feed)]
    )
    return Display("wall", Grid(columns=60, rows=1), chip(part), wiring, power=power)


def same(bench, value):
    """Send one level to all LEDs; whether all show it."""
    bench.send_frame(np.full(180, value, dtype=np.uint8))
    return bool((bench.drives == value).all())


def test_logic_of_3v3_fails_at_low_load_and_works_at_high():
    """VIH = 0.7 VDD (WS2812B datasheet), VDD of the first LED: 5 V dark, less than 4.71 V lit."""
    bench = Bench(wall(), powered=True, faults=["low-logic threshold=0.7"])
    assert not same(bench, 200)
    bench = Bench(wall(), powered=True, faults=["low-logic"])
    bench.strips[0]._shown[:] = 200  # it has latched a bright picture before
    assert bench.rail_volts()[0] < 3.3 / 0.7
    assert same(bench, 190)
    assert same(bench, 210)


def test_a_lifted_ground_works_at_low_load_and_fails_at_high():
    bench = Bench(wall(length_m=0.1), powered=True, faults=["ground-lifted mohm=900"])
    assert same(bench, 5)
    assert same(bench, 255)  # the current is still that of the frame before
    assert bench.current() > 1.7  # × 0.9 Ω, more than the 1.5 V between 5 V and VIH
    assert not same(bench, 128)


def test_a_computer_that_pauses_restarts_the_frame_at_led_0():
    """WS2812B datasheet: more than 50 µs low is a reset."""
    display = wall()
    frame = np.repeat(np.arange(1, 61, dtype=np.uint8), 3)
    bench = Bench(display, faults=["busy-computer share=1 pause_us=60"])
    sent = bench.send_frame(frame)
    shown = bench.drives[:, 1].tolist()
    # What came after the pause begins at LED 0; the LEDs behind keep what came before it. It may
    # begin within an LED, so only most of the green bytes are those of whole numbers.
    behind = 60 - len(set(shown[:30]) & set(range(31, 61)))
    assert behind < 60
    assert shown != list(range(1, 61))
    assert sent.wire_ns == pytest.approx(60 * 24 * 1250 + 60_000, rel=1e-3)
    harmless = Bench(display, faults=["busy-computer share=1 pause_us=40"])
    harmless.send_frame(frame)
    assert harmless.drives[:, 1].tolist() == list(range(1, 61))


def test_a_reset_too_short_never_latches():
    bench = Bench(wall(), faults=["reset-short low_us=45"])
    assert not any(same(bench, value) for value in (10, 20, 30))
    assert not bench.drives.any()
    assert same(Bench(wall(), faults=["reset-short low_us=55"]), 10)


def test_noise_disturbs_some_frames_and_the_same_ones_each_time():
    def frames():
        bench = Bench(wall(), faults=["motor-noise share=0.3 seed=4"])
        right = []
        for number in range(60):
            bench.clock.wait_until(number * SECOND_NS // 20)
            right.append(same(bench, 100 + number))
        return right

    right = frames()
    assert 5 < right.count(False) < 40
    assert right == frames()


@pytest.mark.parametrize(
    ("sentence", "value"), [("spi-speed mhz=3.84", 0), ("spi-speed mhz=1.5", 255)]
)
def test_a_wrong_spi_speed_makes_all_bits_alike(sentence, value):
    """2.4 MHz meant: 800 ns become 500 ns at 3.84 MHz, 400 ns 640 ns at 1.5 MHz; 600 ns decide."""
    bench = Bench(wall(), faults=[sentence])
    bench.send_frame(np.full(180, 0x5A, dtype=np.uint8))
    assert (bench.drives == value).all()


def test_no_common_ground_is_right_now_and_then():
    bench = Bench(wall(), faults=["no-common-ground"])
    right = []
    for number in range(60):
        bench.clock.wait_until(number * SECOND_NS // 20)
        right.append(same(bench, 100 + number))
    # Right where the drift of ±5 V leaves both levels: within 1.5 V of true and, below, 3.5 V.
    assert 10 < right.count(True) < 50


def test_a_long_wire_works_at_5_metres_and_not_at_60():
    assert same(Bench(wall(), faults=["long-wire metres=2"]), 77)
    assert not same(Bench(wall(), faults=["long-wire metres=60"]), 77)


def test_a_line_takes_as_long_whatever_the_chips_read():
    """60 LEDs of 24 bits of 1.25 µs: 1.8 ms; at half the speed twice as long."""
    frame = np.full(180, 200, dtype=np.uint8)
    assert Bench(wall(), faults=["low-logic"]).send_frame(frame).wire_ns == 1_800_000
    slow = Bench(wall(), faults=["spi-speed mhz=1.2"]).send_frame(frame)
    assert slow.wire_ns == 3_600_000
    assert slow.ready_ns == 3_650_000


def test_logic_of_3v3_with_the_ground_at_the_supply_works_at_low_load_and_fails_at_high():
    """The reverse: what the current drops in the ground takes from the level, in full; what it
    drops in all takes from VIH by the chip's share alone, here 0.6. Dark: 3.3 V against 3.0 V."""
    joint = "feed-joint feed=0 conductor=ground ohm=0.8"
    near = Bench(wall(), faults=[joint, "low-logic threshold=0.6"])
    far = Bench(wall(), faults=[joint, "low-logic threshold=0.6", "ground-lifted mohm=0"])
    for bench in (near, far):
        assert same(bench, 5)
        assert same(bench, 160)  # the current is still that of the frame before
    lift_v = float(far.power.rails.ground_volts[0, 0])
    assert 3.3 - lift_v < 0.6 * far.rail_volts()[0] < 3.3
    assert same(near, 170)
    assert not same(far, 170)


def test_a_clocked_chip_follows_any_speed_up_to_its_fastest():
    """WS2801 datasheet: 25 MHz at most."""
    frame = np.full(180, 0x5A, dtype=np.uint8)
    bench = Bench(wall("WS2801"), faults=["spi-speed mhz=20"])
    assert bench.send_frame(frame).wire_ns == 180 * 8 * 50
    assert (bench.drives == 0x5A).all()
    bench = Bench(wall("WS2801"), faults=["spi-speed mhz=40"])
    bench.send_frame(frame)
    assert (bench.drives != 0x5A).any()


@pytest.mark.parametrize("part", ["APA102", "SK9822", "LPD8806"])
def test_a_pause_only_delays_chips_that_no_rest_latches(part):
    """APA102 datasheet: an end frame latches, and the clock may stop for as long as it likes."""
    display = wall(part)
    bench, late = Bench(display), Bench(display, faults=["busy-computer share=1 pause_us=400"])
    for value in (10, 254):
        for one in (bench, late):
            one.leds[:] = value if part == "LPD8806" else (value, value, value, 31)
            sent = one.leds.send()
        assert (late.drives == bench.drives).all()
    assert sent.wire_ns > 400_000


def test_a_rest_too_short_never_latches_a_chip_whose_clock_rests():
    """WS2801 datasheet: the clock rests low for 500 µs."""
    for low_us, red in ((450, 0), (550, 7)):
        bench = Bench(wall("WS2801"), faults=[f"reset-short low_us={low_us}"])
        bench.leds[:] = 7
        bench.leds.send()
        assert bench.drives[5].tolist() == [red] * 3
    with pytest.raises(FaultError, match="APA102 needs no rest"):
        Bench(wall("APA102"), faults=["reset-short"])
