"""Walls that are played: each as a bench with the same fault, and what comes and goes."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from emulator import Bench, parse_display
from emulator.description.faults.reading import read_sentence
from harness.campaign import restless
from harness.campaign.campaign import run_campaign
from harness.campaign.sagging import Walls
from harness.campaign.settled import loads_of, settle
from harness.campaign.watch import FLICKERS, Watch, data_of, sent_drives
from harness.patterns.pattern import PATTERNS
from tests.harness.campaign.test_campaign import wall

# 48 LEDs fed at one end by a thin wire: bright pictures leave the far ones too few volts.
WEAK = """\
[grid]
columns = 12
rows = 4
[chip]
part = "WS2812B"
[wiring]
start = "top-left"
path = "serpentine"
[power]
supply = [{ amps = 3 }]
jumper = { awg = 24, length_m = 0.3 }
feed = [{ led = 0, awg = 26, length_m = 2 }]
"""

SENTENCES = (
    "power-joint after=20 conductor=plus",
    "power-joint after=20 conductor=ground ohm=3",
    "feed-joint feed=0 conductor=plus ohm=0.6",
    "wrong-gauge feed=0",
    "supply-small amps=0.9",
    "supply-trips amps=1.2 retry_s=1.5",
    "supply-low volts=4.3",
    "chips-reset volts=4",
)


@pytest.fixture(scope="module")
def weak():
    return parse_display(WEAK, Path("weak.toml"))


def settled(display, sentences, patterns):
    walls = [(read_sentence(one, display),) for one in sentences]
    return [*settle(display, walls, loads_of(display, patterns))]


@pytest.mark.parametrize("name", ["channels", pytest.param("full-load", marks=pytest.mark.slow)])
def test_walls_that_sag_show_what_benches_show(weak, name):
    """Drives and light of each, played whole: chips reset, supplies fold back and trip."""
    pattern = PATTERNS[name]
    walls = settled(weak, SENTENCES, [pattern])
    # An open joint leaves those before it enough volts, and the others none.
    assert [one.manner for one in walls] == ["steady", *["sagging"] * 7]
    pictures = pattern.pictures(weak)
    those, seen = Walls(weak, walls), []
    planned = Bench(weak)
    for step, data in enumerate(data_of(sent_drives(pictures, weak), weak)):
        starts_ns = step * pattern.hold_ms * 1_000_000
        planned.clock.wait_until(starts_ns)
        seen.append(those.show(data, starts_ns, planned.send(pictures[step]).ready_ns))
    for number, wall_ in enumerate(walls):
        bench = Bench(weak, faults=wall_.faults)
        for step, picture in enumerate(pictures):
            bench.clock.wait_until(step * pattern.hold_ms * 1_000_000)
            bench.send(picture)
            assert np.array_equal(seen[step].drives[number], bench.drives), wall_.faults
            assert np.allclose(seen[step].light[number], bench.light, atol=1e-5), wall_.faults
    drives = np.stack([one.drives for one in seen])
    assert (drives != sent_drives(pictures, weak)[:, None]).any(axis=(0, 2, 3)).sum() >= 4


@pytest.mark.slow
def test_what_sags_is_detected(weak, monkeypatch):
    """And the bound that saves solving changes nothing."""
    faults = [read_sentence(one, weak) for one in SENTENCES]
    patterns = [PATTERNS[name] for name in ("dark", "full-load", "rows")]
    done = run_campaign(weak, patterns=patterns, faults=faults)
    assert not done.eye.matrix[1:7, 0].any()  # in the dark all have enough
    assert done.eye.matrix[:, 1].all()
    monkeypatch.setattr(Walls, "calm", lambda self, _: np.zeros(len(self._held), dtype=bool))
    solved = run_campaign(weak, patterns=patterns, faults=faults)
    assert np.array_equal(done.camera.signatures, solved.camera.signatures)


def test_a_loose_data_joint_flickers_where_pictures_change():
    """The LEDs that ever differ on a bench on which the joint comes and goes, over many rounds."""
    display = wall(rows=3, columns=4)
    pattern = PATTERNS["rows"]
    loose = read_sentence("data-open after=5 share=0.5 spell_s=0.3", display)
    bench = Bench(display, faults=[loose])
    pictures = pattern.pictures(display)
    sent, ever = sent_drives(pictures, display), np.zeros(display.leds, dtype=bool)
    for step in range(60):
        bench.clock.wait_until(step * pattern.hold_ms * 1_000_000)
        bench.send(pictures[step % len(pictures)])
        ever |= (bench.drives != sent[step % len(pictures)]).any(axis=1)
    assert np.flatnonzero(ever).tolist() == [*range(6, 12)]
    done = run_campaign(display, patterns=[pattern, PATTERNS["corners"]], faults=[loose])
    watch = Watch(display, ())
    assert done.exact.signatures[0, 0] == watch.stretches(ever, FLICKERS)
    assert done.eye.detected[0]
    assert not done.eye.matrix[0, 1]  # one picture: what LEDs keep is what they should show


class Recording(Watch):
    """Remembers which cells flicker or stay dark."""

    def stretches(self, cells, how):
        self.cells |= cells
        return super().stretches(cells, how)


@pytest.mark.parametrize(("noise_v", "disturbs"), [(0.7, True), (0.01, False)])
def test_noise_is_seen_on_its_line_only(noise_v, disturbs):
    display = wall(rows=4, columns=6, lines=2)
    fault = f"motor-noise line=1 noise_v={noise_v}"
    [noisy] = settled(display, [fault], [PATTERNS["checker"]])
    assert noisy.manner == ("restless" if disturbs else "now and then")
    watch = Recording(display, ())
    watch.cells = np.zeros(display.leds, dtype=bool)
    restless.play(display, noisy, PATTERNS["checker"], watch)
    assert watch.cells[12:].any() == disturbs
    assert not watch.cells[:12].any()
    done = run_campaign(display, patterns=[PATTERNS["checker"]], faults=noisy.faults)
    assert done.eye.detected.tolist() == done.changes.tolist() == [disturbs]
