"""Many walls with a fault each at once: the same as a bench for each."""

from __future__ import annotations

import numpy as np
import pytest

from emulator import Bench, chip, shorthand
from emulator.canvas import to_wire
from emulator.chain import by_led, full_drives, shown_by, stacked
from emulator.description.display import Display
from emulator.description.faults.built import as_built
from emulator.description.faults.kinds import KINDS
from emulator.description.sections import Grid
from emulator.signal.framing import in_order

STAGES = ("wiring", "strip")


def wall(part, lines, hidden):
    """With a gap; hidden LEDs come first on each line, at its turns and at its end."""
    gap = np.zeros((4, 5), dtype=bool)
    gap[1, 2] = True
    wiring = shorthand(gap, "bottom-right", "columns", lines=lines, hidden=hidden)
    return Display("wall", Grid(columns=5, rows=4), chip(part), wiring)


@pytest.mark.parametrize(
    ("part", "lines", "hidden"),
    [
        ("WS2812B", 1, (0, 0, 0)),
        ("SK6812-RGBW", 2, (1, 1, 2)),
        ("WS2811-LOW", 5, (0, 0, 0)),
        ("APA102", 2, (1, 0, 1)),
    ],
)
def test_one_look_up_for_all_faults_is_a_bench_for_each(part, lines, hidden):
    """Every kind of wiring and strip at every place, and pairs of them."""
    display = wall(part, lines, hidden)
    single = [
        [fault]
        for kind in KINDS.values()
        if kind.stage in STAGES
        for fault in kind.everywhere(display)
    ]
    rng = np.random.default_rng(2)
    pairs = [[single[a][0], single[b][0]] for a, b in rng.integers(0, len(single), (60, 2))]
    some = [single[n] for n in rng.choice(len(single), 150, replace=False)] + pairs
    drives = rng.integers(0, 256, (display.leds, len(display.chip.channels)), dtype=np.uint8)
    if "I" in display.chip.channels:
        drives[:, -1] %= 32
    frame = in_order(drives, display.chip.to_wire).ravel()
    built = [as_built(display, faults) for faults in some]
    chain = stacked([by_led(one) for one in built])
    off, on = (np.stack([getattr(one, name) for one in built]) for name in ("off", "on"))
    found = shown_by(chain, off, on, frame[None], full_drives(display.chip))
    assert found.shape == (1, len(some), display.leds, len(display.chip.channels))
    for number, faults in enumerate(some):
        bench = Bench(display, faults=faults)
        bench.send_frame(to_wire(drives, display))
        assert np.array_equal(found[0, number], bench.drives), list(map(str, faults))
