"""The sampling step behind rounded times."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from emulator.signal.step import Step, StepFinder, known_step, lattice
from tests.tables import telling

# What analysers sample at [Hz]; the step is 1e9 / rate, by definition.
RATES = (4e6, 8e6, 12e6, 13.7e6, 16e6, 24e6, 25e6, 32e6, 33.333e6, 50e6, 100e6)


def sampled(rate: float, tick_ns: float, floor: bool, bits: int = 2000) -> NDArray[np.int64]:
    """Times, in ticks, of the first samples that show the edges of a line of random bits.

    The controller's clock is 37 parts in a million off, as quartzes are, so the phase drifts.
    """
    rng = np.random.default_rng(int(rate) + floor)
    ones = rng.integers(0, 2, bits)
    widths = np.stack([np.where(ones, 800, 400), np.where(ones, 450, 850)], axis=1).ravel()
    true_ns = np.cumsum(widths) * 1.000037 + rng.uniform(0, 1000)
    ticks = np.ceil(true_ns * rate / 1e9) / rate * 1e9 / tick_ns
    return (np.floor(ticks + 1e-6) if floor else np.rint(ticks)).astype(np.int64)


def note(finder: StepFinder, times: NDArray[np.int64]) -> None:
    """Times of one line, which changes at each of them."""
    finder.take(times, toggles=[times])


@pytest.mark.slow
@pytest.mark.parametrize(
    "rate", telling(RATES, lambda rate: rate in (8e6, 13.7e6, 24e6, 33.333e6, 100e6))
)
@pytest.mark.parametrize("tick_ns", telling([1, 10, 0.1, 0.001], lambda ns: ns in (1, 10)))
@pytest.mark.parametrize("floor", [True, False])
def test_the_step_is_found_behind_rounded_times(rate: float, tick_ns: float, floor: bool) -> None:
    finder = StepFinder(tick_ns)
    note(finder, sampled(rate, tick_ns, floor))
    found = finder.step_ns()
    if rate == 100e6:  # 10 ns may be what the times of a finer step are rounded to
        assert 10 <= found.step_ns < 11.1  # chance decides between 8 ns and 12.5 ns
        assert found.rounding_ns == 10
        return
    assert found.step_ns == pytest.approx(1e9 / rate, rel=1e-5)
    whole = (1e9 / rate / max(tick_ns, 1)).is_integer()
    assert found.rounding_ns == (0 if whole and rate / 1e9 * tick_ns < 1 else max(tick_ns, 1))


def test_24_mhz_in_whole_nanoseconds_by_hand() -> None:
    # Samples 0 to 12 of 24 MHz, to the nearest nanosecond: 41.67, 83.33, 125 …
    times = np.array([0, 42, 83, 125, 167, 208, 250, 292, 333, 375, 417, 458, 500])
    found = lattice(times)
    assert found is not None
    assert found.step == pytest.approx(41.667, abs=0.05)
    assert found.number(times).tolist() == list(range(13))
    finder = StepFinder()
    note(finder, times)
    assert finder.step_ns() == Step(pytest.approx(41.667, abs=0.05), 1)


def test_rounding_to_10_ns_in_a_file_of_whole_nanoseconds() -> None:
    finder = StepFinder(1)
    note(finder, 10 * sampled(24e6, 10, False))
    assert finder.step_ns() == Step(pytest.approx(41.667, abs=1e-3), 10)


@pytest.mark.slow
@pytest.mark.parametrize("size", [50, 700, 3000])
def test_blocks_of_any_size_tell_the_same(size: int) -> None:
    times = sampled(24e6, 1, True)
    finder = StepFinder()
    for begin in range(0, times.size, size):
        note(finder, times[begin : begin + size])
    assert finder.step_ns().step_ns == pytest.approx(41.667, abs=1e-3)


def test_times_exact_to_the_nanosecond_have_no_coarser_step() -> None:
    times = np.cumsum(np.random.default_rng(1).integers(200, 900, 3000))
    finder = StepFinder()
    note(finder, times)
    assert finder.step_ns() == Step(1, 0)


def test_a_controllers_own_clock_is_no_sampling_step() -> None:
    # Edges a multiple of 50 ns apart at 100 MHz: 50 ns, rounded to 10, would fit except for 37 ppm.
    finder = StepFinder()
    note(finder, sampled(100e6, 1, True, 20_000))
    assert finder.step_ns() == Step(pytest.approx(10, rel=0.01), 10)


def test_one_long_pause_between_frames() -> None:
    times = sampled(24e6, 1, True, 400)
    finder = StepFinder()
    note(finder, np.concatenate([times, times + 10**12]))  # 1000 s, a whole number of samples
    assert finder.step_ns().step_ns == pytest.approx(41.667, abs=1e-2)


def test_nothing_and_little() -> None:
    finder = StepFinder()
    assert finder.step_ns() == Step(1, 0)
    note(finder, np.array([5]))
    assert finder.step_ns() == Step(1, 0)
    note(finder, np.array([405]))
    assert finder.step_ns() == Step(400, 100)


@pytest.mark.parametrize(
    ("step_ns", "tick_ns", "expected"),
    [
        (250, 1, Step(250, 0)),
        (1e9 / 24e6, 1, Step(1e9 / 24e6, 1)),
        (1e9 / 24e6, 10, Step(1e9 / 24e6, 10)),
        (62.5, 0.1, Step(62.5, 1)),  # edges are read to 1 ns
        (10, 10, Step(10, 0)),
        (1, 1, Step(1, 0)),
        (0.5, 1, Step(1, 0)),
    ],
)
def test_a_known_step(step_ns: float, tick_ns: float, expected: Step) -> None:
    assert known_step(step_ns, tick_ns) == expected


@pytest.mark.slow
@pytest.mark.parametrize("rate", [100e6, 200e6])
@pytest.mark.parametrize("half_ns", [542.8, 1027.8, 1090.7])
def test_a_clock_is_not_taken_for_what_samples_it(rate: float, half_ns: float) -> None:
    frame = np.arange(160) * half_ns
    true_ns = np.concatenate([frame, frame + 493_217.3, frame + 1_100_311.9]) + 3.7
    finder = StepFinder(10)
    note(finder, (np.ceil(true_ns * rate / 1e9) / rate * 1e8).astype(np.int64))
    found = finder.step_ns()
    # If data change half a period from the clock's rise, foreglow can distinguish the two.
    assert found.step_ns + found.rounding_ns < half_ns
