"""Questions on an emulated serial link, and on an emulated wall."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from emulator import Bench
from emulator.description.faults.reading import with_faults
from harness.find.pictures import MOVING, questions
from harness.find.rehearsal import Rehearsal, Stage
from tests.harness.find.walls import wall
from tests.ports.cable import Cable

DISPLAY = wall()


def test_each_question_arrives_at_a_board_on_a_serial_link():
    cable = Cable(DISPLAY)
    stage = Stage(DISPLAY, cable.output(), cable.clock)
    for question in questions(DISPLAY):
        bench = Bench(DISPLAY)
        bench.send(question.picture)
        stage.show(question)
        cable.clock.wait_until(cable.clock.now_ns() + 200_000_000)
        cable.carry()
        assert np.array_equal(cable.wall.bench.drives, bench.drives), question.name
    stage.close()
    cable.clock.wait_until(cable.clock.now_ns() + 200_000_000)
    cable.carry()
    assert not cable.wall.bench.drives.any()


def test_a_question_that_moves_changes_no_more_than_once_a_second():
    """Three flashes a second are the most (WCAG 2.2, SC 2.3.1)."""
    cable = Cable(DISPLAY)
    stage = Stage(DISPLAY, cable.output(), cable.clock)
    stage.show(next(one for one in questions(DISPLAY) if one.step == MOVING))
    seen = []
    for tenth in range(31):
        cable.clock.wait_until(tenth * 100_000_000)
        stage.pump()
        cable.carry()
        seen.append(cable.wall.bench.drives.tobytes())
    changes = sum(a != b for a, b in pairwise(seen[2:]))
    assert 2 <= changes <= 3


def test_what_is_sent_respects_the_limit_of_the_display_file():
    """12 LEDs in white take 0.6 A or more (WS2812B datasheet: 20 mA a channel at most)."""
    from emulator.canvas import current_a
    from tests.harness.find.walls import TEXT

    limited = wall(TEXT + "[power]\nlimit_a = 0.3\n")
    cable = Cable(limited)
    stage = Stage(limited, cable.output(), cable.clock)
    stage.show(next(one for one in questions(limited) if one.name == "channels 4"))
    cable.clock.wait_until(200_000_000)
    cable.carry()
    drives = cable.wall.bench.drives
    assert drives.any()
    assert float(np.max(current_a(drives, limited.chip))) <= 0.3 + 1e-6


def test_a_rehearsed_wall_shows_its_fault_and_what_flickers():
    by_name = {one.name: one for one in questions(DISPLAY)}
    steady = Rehearsal(with_faults(DISPLAY, ["data-open after=6"]))
    steady.show(by_name["channels 4"])
    flat = DISPLAY.wiring.per_led(steady.looks).any(axis=1)
    assert flat.tolist() == [led <= 6 for led in range(12)]
    assert not steady.flickers.any()
    loose = Rehearsal(with_faults(DISPLAY, ["data-open after=6 share=0.5 spell_s=1"]))
    loose.show(by_name["checker moving"])
    flickers = DISPLAY.wiring.per_led(loose.flickers[..., None].astype(np.uint8))[:, 0]
    assert flickers[7:].all()
    assert not flickers[:7].any()
