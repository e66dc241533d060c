"""A few small films of walls as built; the package, run as a command, makes many larger ones."""

from dataclasses import replace

import numpy as np
import pytest

from tests.outside.generated_survey import built, camera, cases, played
from tests.outside.generated_survey.run import run_case


@pytest.mark.slow
@pytest.mark.parametrize(
    ("number", "kind", "mistakes"), [(1, "plain", ()), (2, "faults", ("reversed", "dead"))]
)
def test_a_film_of_a_small_wall_is_read(number, kind, mistakes, tmp_path):
    case = replace(cases.small(number, kind), mistakes=mistakes)
    case, verdict = run_case(case, tmp_path)
    assert verdict.complaints == []
    assert verdict.wrong == 0
    assert verdict.placed + verdict.dark == verdict.leds


@pytest.mark.slow
def test_a_film_that_is_empty_is_refused(tmp_path):
    case = replace(cases.small(3, "plain"), unreadable="empty", ordinary=False)
    _, verdict = run_case(case, tmp_path)
    assert verdict.refused
    assert verdict.complaints == []


def test_the_camera_puts_the_wall_where_it_is_asked_to():
    """Closed form: a plane seen from the front is only scaled; half of 640 pixels are 10
    pitches."""
    view = camera.aimed((10, 5), (640, 480), (0, 0, 0), fill=0.5)
    assert view(np.array([[0.0, 0, 0], [10, 5, 0]])) == pytest.approx(
        np.array([[160.0, 160], [480, 320]])
    )
    assert view.local(np.array([[5.0, 2.5, 0]]))[0] == pytest.approx(np.diag([32.0, 32]))


def test_a_missing_led_moves_all_after_it_by_one_cell():
    """By hand: the second cell is empty, LED 1 sits in the third, and the last LED nowhere."""
    wall = played.Played(
        np.zeros(1), np.zeros((1, 4, 3)), 1.0, np.arange(4), np.zeros(4, int), np.arange(4), 4
    )

    class Second:
        @staticmethod
        def integers(_):
            return 1

    truth = built.right(wall)
    built.missing_led(Second, wall, truth, [])
    assert truth.cell.tolist() == [0, 2, 3, -1]
