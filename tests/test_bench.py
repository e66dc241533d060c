from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator import Bench, FrameError, PictureError, SimulatedClock, load_display
from emulator import canvas as c
from emulator.picture.srgb import srgb_to_linear
from tests.strategies import displays


def random_picture(display, seed: int) -> np.ndarray:
    return np.random.default_rng(seed).integers(0, 256, display.picture_shape, np.uint8)


@given(displays(), st.integers(0, 2**32 - 1), st.integers(-7, 7))
def test_the_fast_path_and_the_waveform_path_are_equal(display, seed, more):
    """Whole frames, frames too short and frames too long, on every chip of the catalogue."""
    fast, wave = Bench(display), Bench(display, waveform=True)
    rng = np.random.default_rng(seed)
    for _ in range(3):
        lines = c.to_wire(c.to_drives(random_picture(display, seed), display), display)
        if more < 0:
            lines = [line[: max(line.size + more, 0)] for line in lines]
        elif display.chip.channels != "RGBI":
            lines = [np.append(line, rng.integers(0, 256, more, np.uint8)) for line in lines]
        assert fast.send_frame(lines) == wave.send_frame(lines)
        assert (fast.drives == wave.drives).all()


@given(displays(), st.integers(0, 2**32 - 1))
def test_every_cell_shows_the_picture(display, seed):
    picture = random_picture(display, seed)
    bench = Bench(display)
    bench.send(picture)
    assert np.abs(bench.picture - srgb_to_linear(picture / 255)).max() <= 0.5 / 255 + 1e-6


@given(displays(), st.integers(0, 2**32 - 1))
def test_a_stack_of_frames_does_what_single_frames_do(display, seed):
    pictures = np.stack([random_picture(display, seed + n) for n in range(3)])
    one, many = Bench(display), Bench(display)
    for number, picture in enumerate(pictures):
        one.clock.wait_until(number * 10**8)
        one.send(picture)
    frames = np.concatenate(c.to_wire(c.to_drives(pictures, display), display), axis=-1)
    many.send_frames(frames, 10**8)
    assert (many.frames == one.frames).all()
    assert (many.recorder.times_ns == one.recorder.times_ns).all()
    assert (many.drives == one.drives).all()


# 576 LEDs × 24 bits × 1.25 µs (WS2812B datasheet) = 17.28 ms, and 50 µs of reset.
def test_times_are_exact_to_the_nanosecond(tmp_path):
    path = tmp_path / "wall.toml"
    path.write_text("[grid]\ncolumns=24\nrows=24\n[chip]\npart='WS2812B'\n[wiring]\n")
    bench = Bench(load_display(path))
    bench.clock.wait_until(7)
    sent = bench.send(np.zeros((24, 24, 3), np.uint8))
    assert (sent.starts_ns, sent.wire_ns, sent.latched_ns) == (7, 17_280_000, 17_330_007)
    assert bench.clock.now_ns() == 17_330_007
    bench.send(np.zeros((24, 24, 3), np.uint8))
    assert bench.frames.shape == (2, 576, 3)
    assert bench.recorder.times_ns.tolist() == [17_330_007, 2 * 17_330_000 + 7]


def test_lines_go_out_in_parallel_and_share_one_run_of_bytes():
    display = load_display("foyer")
    bench = Bench(display)
    sent = bench.send_frame(bytes(358 * 3) + b"\xff" * (358 * 3) + b"123")
    assert sent.wire_ns == (358 * 3 + 3) * 8 * 1250
    assert [line.bytes_over for line in sent.lines] == [0, 3]
    assert (bench.drives[:358] == 0).all()
    assert (bench.drives[358:] == 255).all()


def test_a_controller_that_does_not_hold_the_reset_sends_the_next_frame_too_early():
    display = load_display("banner")
    bench = Bench(display)
    first = bench.send_frame(bytes([9]) * 40, hold_ns=1000)
    assert not first.early
    second = bench.send_frame(bytes([7]) * 40)
    assert second.early
    assert len(bench.frames) == 1  # the first was never latched by itself
    assert bench.drives[:21, 0].tolist() == [9] * 10 + [7] * 10 + [0]


def test_the_recording_of_a_long_run_stays_small_when_asked():
    display = load_display("sign")
    bench = Bench(display, keep=5)
    for number in range(40):
        bench.send(np.full(display.picture_shape, number, np.uint8))
    assert 5 <= len(bench.frames) <= 10
    assert bench.recorder.times_ns[-1] == bench.clock.now_ns()


def test_a_simulated_clock_never_goes_back():
    clock = SimulatedClock()
    clock.wait_until(10)
    clock.wait_until(3)
    assert clock.now_ns() == 10


@pytest.mark.parametrize(
    ("data", "said"),
    [
        ([b"1"], "1 pieces of bytes for 2 line"),
        ([300, 1], "bytes for the wire are list of int64"),
        (["a", "b"], "To mend"),
        (3.5, "float64"),
        ([[1, 2], [3]], "To mend"),
        (None, "To mend"),
    ],
)
def test_what_is_no_bytes_is_told_in_words(data, said):
    with pytest.raises(FrameError) as caught:
        Bench(load_display("foyer")).send_frame(data)
    assert said in str(caught.value)


@pytest.mark.parametrize(
    "data", [[1, 2, 3], (1, 2, 3), np.array([1, 2, 3]), bytearray([1, 2, 3]), memoryview(b"\1\2\3")]
)
def test_bytes_are_taken_in_any_usual_form(data):
    bench = Bench(load_display("banner"))
    assert bench.send_frame(data).leds_short == bench.display.leds
    assert [part.tolist() for part in bench.split(data)] == [[1, 2, 3]]


def test_a_stack_is_no_picture_and_frames_too_fast_or_too_short_are_refused():
    bench = Bench(load_display("foyer"))
    with pytest.raises(PictureError, match="not a stack"):
        bench.send(np.zeros((2, 20, 36, 3), np.uint8))
    whole = np.zeros((2, 716 * 3), np.uint8)
    with pytest.raises(FrameError, match="a frame every 1000 ns"):
        bench.send_frames(whole, 1000)
    with pytest.raises(FrameError, match="To mend"):
        bench.send_frames(whole[:, :-1], 10**9)
