"""Every fault against every pattern: the same as a bench for each, and right by hand."""

from __future__ import annotations

import numpy as np
import pytest

from emulator import Bench, chip, load_display, shorthand
from emulator.canvas import to_wire
from emulator.chain import full_drives
from emulator.description.display import Display
from emulator.description.faults.built import as_built
from emulator.description.faults.fault import STAGES
from emulator.description.sections import Grid
from emulator.light.primaries import chip_primaries
from emulator.signal.framing import in_order
from harness.campaign.campaign import run_campaign, single_faults, usual_patterns
from harness.campaign.eye import Eye
from harness.campaign.facts import LedFacts, deviations, drives_of, patches_of
from harness.patterns.pattern import PATTERNS
from tests.tables import telling
from tests.test_bench_any_faults import drawn_wall


def wall(part="WS2812B", rows=3, columns=4, lines=1, hidden=(0, 0, 0)):
    wiring = shorthand(np.zeros((rows, columns), bool), "top-left", "rows", lines=lines,
                       hidden=hidden)  # fmt: skip
    return Display("wall", Grid(columns=columns, rows=rows), chip(part), wiring)


def of_wall(walls, number):
    """All LEDs of the wall with a fault: as planned, with what deviates put in."""
    planned, other = walls.planned, walls.other
    which = walls.which[walls.wall == number]
    fields = {}
    for name in ("position", "source", "added", "glow", "patch"):
        values = getattr(planned, name).copy()
        values[other.position[which]] = getattr(other, name)[which]
        fields[name] = values
    return LedFacts(**fields)


@pytest.mark.parametrize(
    ("part", "lines", "hidden", "share"),
    telling(
        [
            (part, *more, share)
            for part in ("WS2812B", "SK6812-RGBW", "APA102", "LPD8806")
            for more in ((1, (0, 0, 0)), (3, (1, 0, 1)))
            for share in (0.1, 1.0)
        ],
        lambda row: row[1] == 3 and row[3] < 1,
    ),
)
def test_the_facts_of_leds_give_what_a_bench_shows(part, lines, hidden, share):
    """Drives and light, from random drives. A bench's light has no white channel of its own, so
    that of RGBW is compared in drives alone."""
    display = wall(part, lines=lines, hidden=hidden)
    rng = np.random.default_rng(5)
    faults = [
        fault
        for fault in single_faults(display)
        if fault.stage in ("wiring", "strip", "light") and rng.random() < share
        if getattr(fault, "share", 1) == 1
    ]
    built = [as_built(display, [fault]) for fault in faults]
    walls = deviations(display, built, patches_of(display, faults))
    drives = rng.integers(0, 256, (display.leds, len(display.chip.channels)), dtype=np.uint8)
    if "I" in display.chip.channels:  # as pictures are sent: `canvas.drives`
        drives[:, -1] = full_drives(display.chip)[-1]
    drives[display.wiring.hidden, : len(display.chip.channels.replace("I", ""))] = 0
    bench = Bench(display)
    bench.send_frame(to_wire(drives, display))
    drives = bench.drives  # those of 7 bits are rounded
    data = in_order(drives, display.chip.to_wire).reshape(1, -1)
    eye = Eye(display, ())
    xyz = chip_primaries(display.chip).xyz / chip_primaries(display.chip).intensity_cd
    for number, fault in enumerate(faults):
        bench = Bench(display, faults=[fault])
        bench.send_frame(to_wire(drives, display))
        facts = of_wall(walls, number)
        shown = drives_of(facts, data, display)
        assert np.array_equal(shown[0], bench.drives), fault
        if "W" not in display.chip.channels and fault.stage != "light":
            assert np.allclose(eye.light(shown, facts.glow)[0], bench.light @ xyz, atol=1e-5), fault


CHANCE = ("low-logic", "long-wire", "no-common-ground", "ground-lifted", "motor-noise",
          "busy-computer")  # fmt: skip


def always(fault):
    return getattr(fault, "share", 1) == 1 and fault.name not in CHANCE


def without_chance(display):
    """Those that need no bench; playing the others takes long."""
    return [fault for fault in single_faults(display) if fault.name not in CHANCE]


def test_signatures_tell_apart_what_frames_do():
    """Without any hash: the frames of a bench for each fault under two patterns. Of signal and
    power those without chance; the others have tests of their own."""
    display = wall(rows=2, columns=3)
    patterns = [PATTERNS["rows"], PATTERNS["numbers"]]
    done = run_campaign(display, patterns=patterns, faults=without_chance(display))
    which = [number for number, fault in enumerate(done.faults) if always(fault)]
    assert {done.faults[number].stage for number in which} == set(STAGES)
    for column, pattern in enumerate(patterns):
        frames = []
        for fault in (None, *(done.faults[number] for number in which)):
            bench = Bench(display, faults=[] if fault is None else [fault])
            for step, picture in enumerate(pattern.pictures(display)):
                bench.clock.wait_until(step * pattern.hold_ms * 1_000_000)
                bench.send(picture)
            frames.append(bench.frames.tobytes())
        planned, *built = frames
        assert done.exact.matrix[which, column].tolist() == [one != planned for one in built]
        signatures = done.exact.signatures[which, column].tolist()
        found = dict(zip(signatures, built, strict=True))
        assert [found[one] for one in signatures] == built
        assert len(found) == len(set(built))


def test_what_looks_alike_on_a_row_of_three():
    """By hand: behind an open joint all is dark; so it is behind an LED that passes nothing on."""
    display = wall(rows=1, columns=3)
    done = run_campaign(display, faults=without_chance(display))
    wires = ("wiring", "strip", "light")
    alike = [{str(fault) for fault in faults if fault.stage in wires} for faults in done.alike]
    assert {
        "data-open after=0", "led-swallows led=0 lit=yes", "led-swallows led=1",
    } in alike  # fmt: skip
    assert {"data-open after=-1", "led-swallows led=0", "against-arrow run=0"} in [
        {one for one in some if not one.startswith(("other-chip", "run-short"))} for some in alike
    ]
    # No joint of the supply, no data: as if the data joint before it were open.
    [first] = [some for some in done.alike if "data-open after=0" in map(str, some)]
    assert {"power-joint after=0 conductor=plus", "power-joint after=0 conductor=ground"} <= {
        *map(str, first)
    }
    nothing = {
        str(fault)
        for fault, why in done.survivors
        if why == "it changes nothing" and fault.stage in wires
    }
    # An LED behind the last one; one that passes nothing on where nothing follows; and the bottom
    # of a single row is its top.
    assert nothing == {
        "run-long run=0", "led-swallows led=2 lit=yes", "other-corner corner=bottom-left",
    }  # fmt: skip
    assert nothing == {str(fault) for fault, _ in done.survivors if fault.stage in wires}
    assert (done.eye.detected == done.changes).all()


def test_hidden_leds_are_in_the_drives_and_not_before_the_eye():
    display = wall(rows=1, columns=2, hidden=(1, 0, 0))
    done = run_campaign(display, faults=without_chance(display))
    number = [str(fault) for fault in done.faults].index("led-dark led=0")
    assert not done.exact.detected[number]  # it is sent black
    number = [str(fault) for fault in done.faults].index("channel-on led=0 channel=red")
    assert done.exact.detected[number]
    assert not done.eye.detected[number]
    reasons = {str(fault): why for fault, why in done.survivors}
    assert reasons["channel-on led=0 channel=red"] == "it changes only LEDs without a cell"


def test_an_led_that_shows_what_a_hidden_one_should_is_dark():
    """By hand: LED 1 is hidden, and pictures leave it black. With an LED more before it, LED 2
    takes its data: as dark as if it were broken, or cut off from the data."""
    display = wall(rows=2, columns=1, hidden=(0, 1, 0))
    done = run_campaign(display, faults=without_chance(display))
    assert done.eye.named[done.changes].all()
    [alike] = [one for one in done.alike if any(str(fault) == "led-dark led=2" for fault in one)]
    assert {"led-dark led=2", "led-extra after=0", "data-open after=1"} <= {*map(str, alike)}


def test_blind_patterns_leave_survivors():
    """The check itself is checked: with the black picture alone, dark LEDs are not seen."""
    done = run_campaign(wall(rows=1, columns=3), patterns=[PATTERNS["dark"]])
    shown = {fault.name for fault, seen in zip(done.faults, done.eye.detected, strict=True) if seen}
    assert "channel-on" in shown
    reasons = {fault.name: why for fault, why in done.survivors}
    assert reasons["led-dark"] == "no pattern sends what it changes"
    assert reasons["front-dirty"] == "its light never differs enough for an eye"
    assert (done.changes & ~done.eye.detected).any()


@pytest.mark.parametrize("seed", telling(range(40), lambda seed: seed == 2))
def test_the_patterns_are_enough_on_any_wall(seed):
    """Of any part, on any lines, some with hidden LEDs. All faults of the data are named; a weak
    channel and a batch that differs little may look alike on a run of one LED.

    Without faults of power and signal: on a wall of a few LEDs, a supply that is a little too small
    dims by less than an eye sees, and on one of a single LED many look alike.
    """
    wall = drawn_wall(np.random.default_rng(seed))
    faults = [one for one in single_faults(wall) if one.stage in ("wiring", "strip", "light")]
    done = run_campaign(wall, faults=faults)
    assert done.eye.detected[done.changes].all(), done.survivors
    assert done.eye.named[done.changes & (done.exact.makes != 0)].all()
    assert done.eye.named.sum() >= 0.9 * done.changes.sum()


@pytest.mark.slow
@pytest.mark.parametrize("name", ["sign"])  # the others take minutes: by hand
def test_the_patterns_detect_all_and_name_99_per_cent(name):
    """Of a sample of the faults of a demo; `marks.py` takes all of them, and the other walls."""
    display, rng = load_display(name), np.random.default_rng(3)
    faults = [fault for fault in single_faults(display) if rng.random() < 0.05]
    done = run_campaign(display, faults=faults, pairs=20)
    assert done.eye.detected[done.changes].all(), done.survivors
    assert done.eye.named.sum() >= 0.99 * done.changes.sum()
    assert not done.pairs.missed


def test_patterns_with_too_many_pictures_are_left_out_unless_they_are_named():
    """Chase lights one LED a picture: 1,024 LEDs are the most."""
    large = [usual_patterns(wall(rows=side, columns=side)) for side in (32, 33)]
    assert [[one.name for one in out] for _, out in large] == [[], ["chase"]]
    assert "chase" not in {one.name for one in large[1][0]}
