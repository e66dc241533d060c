"""A seeded sample of generated faults shows what is predicted."""

from __future__ import annotations

import signal

import pytest

from tests.outside.generated_faults import data, powered
from tests.outside.generated_faults.pool import run
from tests.outside.generated_faults.projects import killed

LED_ALONE = 3  # a project of unittest whose tests look at one LED: the fastest
SAMPLE = {"data": 180, "powered": 42, "signals": 120, "sometimes": 3, "invalid": 45}

pytestmark = pytest.mark.slow


@pytest.mark.parametrize("part", list(SAMPLE))
def test_each_led_shows_what_is_predicted(part):
    step = 8 if part == "invalid" else 1  # all kinds of sentences, not the first ones
    done = run(part, range(0, step * SAMPLE[part], step))
    assert done.judged > 0.6 * SAMPLE[part], done
    assert not done.wrong, str(done)


def test_mistakes_in_code_are_noticed_by_the_tests_that_must():
    done = run("projects", [LED_ALONE])
    assert not done.wrong, str(done)


def test_killing_a_run_leaves_the_files():
    assert not killed(signal.SIGKILL, 3.0)


def test_a_prediction_of_another_wall_is_noticed():
    """Without its faults the prediction must differ: else the comparison compares nothing."""
    noticed = 0
    for n in range(36):
        wall, faults, rng = data.case(n)
        frames = data.walls.drives(rng, wall, 2)
        for (a, _), (b, _) in zip(
            data.predicted(wall, faults, frames), data.predicted(wall, [], frames), strict=True
        ):
            noticed += bool((a != b).any())
    assert noticed > 36
    noticed = 0
    for n in range(7):
        wall, _, circuit, rng = powered.case(n)
        frame = data.walls.drives(rng, wall, 1)[0]
        same = powered.predicted(wall, circuit, frame)
        circuit.source_ohm += 0.02
        other = powered.predicted(wall, circuit, frame)
        if same and other:
            noticed += abs(other[0] - same[0]).max() > powered.CLOSE_V
    assert noticed >= 3
