from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator import (
    CHIPS,
    Bench,
    FrameError,
    PictureError,
    SimulatedClock,
    load_display,
    parse_display,
)
from emulator import canvas as c
from emulator.picture.srgb import srgb_to_linear
from harness.simulated.watched import WatchedBench
from tests.strategies import displays, half_step


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
    assert (
        np.abs(bench.picture - srgb_to_linear(picture / 255)).max()
        <= half_step(display) / 255 + 1e-6
    )


@st.composite
def stacks(draw):
    """A display, frames (T, B) for it, a period, and what was sent before: bytes and holds."""
    display = draw(displays())
    size = int(sum(c.line_bytes(display)))
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    count = draw(st.sampled_from([0, 1, 2, 3, 7]))
    if draw(st.booleans()):  # whatever bytes: chips with marked LEDs do not take them all
        frames = rng.integers(0, 256, (count, size), np.uint8)
    else:
        frames = np.zeros((count, size), np.uint8)
        for frame in frames:
            drives = c.to_drives(random_picture(display, rng.integers(1 << 32)), display)
            frame[:] = np.concatenate(c.to_wire(drives, display))
    holds = st.none() | st.sampled_from([0, 1]) | st.integers(0, 400_000)
    before = draw(st.lists(st.tuples(st.integers(0, size + 5), holds), max_size=3))
    slack_ns = draw(st.sampled_from([0, 1]) | st.integers(0, 10**9))
    return display, frames, slack_ns, [(rng.bytes(bytes_), hold) for bytes_, hold in before]


def slowest_ns(display) -> int:
    """The longest that a frame of any bytes takes, until the line is ready for the next."""
    frames = (bytes([level]) * int(sum(c.line_bytes(display))) for level in (0, 255))
    return max(Bench(display).send_frame(frame).ready_ns for frame in frames)


@pytest.mark.parametrize("settings", [{}, {"waveform": True}], ids=["direct", "waveform"])
@given(stacks())
def test_a_stack_of_frames_does_what_single_frames_do(settings, stack):
    """Also after a frame that is still being sent or came too early; both report the same."""
    display, frames, slack_ns, before = stack
    one, many = WatchedBench(display, **settings), WatchedBench(display, **settings)
    for bench in (one, many):
        for data, hold_ns in before:
            bench.send_frame(data, hold_ns)
    begin_ns, period_ns = one.clock.now_ns(), slowest_ns(display) + slack_ns
    singly = []
    for number, frame in enumerate(frames):
        one.clock.wait_until(begin_ns + number * period_ns)
        singly.append(one.send_frame(frame).latched_ns)
    one.clock.wait_until(begin_ns + len(frames) * period_ns)
    assert many.send_frames(frames, period_ns).tolist() == singly
    assert many.clock.now_ns() == one.clock.now_ns()
    assert many.sent == one.sent
    assert (many.drives == one.drives).all()
    for bench in (one, many):  # what comes next finds the lines alike
        bench.send_frame(bytes([1, 2, 3, 4, 5, 6]))
    assert many.sent[-1] == one.sent[-1]
    assert np.array_equal(many.frames, one.frames)
    assert np.array_equal(many.recorder.times_ns, one.recorder.times_ns)
    assert (np.diff(one.recorder.times_ns) >= 0).all()


@pytest.mark.parametrize("part", CHIPS)
@pytest.mark.parametrize("size", [0, 1, 7, 12])
@pytest.mark.parametrize("rest_ns", [0, 1, 10**9])
def test_a_stack_after_part_of_a_frame_does_what_single_frames_do(part, size, rest_ns):
    display = parse_display(
        f"[grid]\ncolumns=3\nrows=2\n[chip]\npart='{part}'\n[wiring]\nlines=2\n", Path("a.toml")
    )
    drives = np.random.default_rng(2).integers(0, 32, (3, 6, len(display.chip.channels)), np.uint8)
    frames = np.concatenate(c.to_wire(drives, display), axis=-1)
    one, many = WatchedBench(display), WatchedBench(display)
    for bench in (one, many):
        bench.send_frame(bytes(range(0x80, 0x80 + size)), hold_ns=0)
        bench.clock.wait_until(bench.clock.now_ns() + rest_ns)
    begin_ns = one.clock.now_ns()
    for number, frame in enumerate(frames):
        one.clock.wait_until(begin_ns + number * 10**8)
        one.send_frame(frame)
    many.send_frames(frames, 10**8)
    assert many.sent == one.sent
    assert np.array_equal(many.frames, one.frames)
    assert many.recorder.times_ns.tolist() == one.recorder.times_ns.tolist()


def test_frames_that_lack_the_chips_framing_are_taken_one_by_one():
    display = parse_display(
        "[grid]\ncolumns=3\nrows=1\n[chip]\npart='APA102'\n[wiring]\n", Path("apa.toml")
    )
    size = int(c.line_bytes(display)[0])
    frames = np.full((2, size), 7, np.uint8)
    frames[1, :4] = 0
    frames[1, 4:8] = 0b111_00001, 10, 20, 30
    bench = Bench(display)
    bench.send_frames(frames, 10**9)
    assert bench.frames[:, 0].tolist() == [[0, 0, 0, 0], [30, 20, 10, 1]]
    assert not bench.frames[:, 1:].any()


def test_one_stack_can_follow_another():
    display = load_display("banner")
    frames = np.random.default_rng(1).integers(0, 256, (6, display.leds * 4), np.uint8)
    whole, parts = Bench(display), Bench(display)
    whole.send_frames(frames, 16_000_000)
    parts.send_frames(frames[:2], 16_000_000)
    parts.send_frames(frames[2:], 16_000_000)
    assert np.array_equal(whole.recorder.times_ns, parts.recorder.times_ns)
    assert np.array_equal(whole.frames, parts.frames)
    assert whole.clock.now_ns() == parts.clock.now_ns() == 6 * 16_000_000


def test_a_refused_stack_leaves_no_trace():
    display = load_display("banner")
    bench = Bench(display)
    bench.send_frame(bytes([9]) * display.leds * 4, hold_ns=0)
    now_ns = bench.clock.now_ns()
    whole = np.zeros((2, display.leds * 4), np.uint8)
    for data, period_ns in ((whole, 1000), (whole[:, 1:], 10**9), (whole, 1e9)):
        with pytest.raises(FrameError):
            bench.send_frames(data, period_ns)
    assert bench.clock.now_ns() == now_ns
    assert len(bench.recorder) == 0
    bench.clock.wait_until(now_ns + 10**9)
    assert (bench.frames == 9).all()


READ = {
    "drives": lambda bench: bench.drives,
    "light": lambda bench: bench.light,
    "picture": lambda bench: bench.picture,
    "power": lambda bench: bench.power,
    "current": lambda bench: bench.current(),
    "rail_volts": lambda bench: bench.rail_volts(),
    "notebook": lambda bench: bench._repr_png_(),
}


@pytest.mark.parametrize("name", READ)
@pytest.mark.parametrize("powered", [False, True])
def test_reading_what_is_shown_records_nothing_and_changes_nothing(name, powered):
    display = load_display("banner")
    bench = Bench(display, powered=powered)
    bench.send_frame(bytes([9]) * display.leds * 4, hold_ns=0)
    READ[name](bench)
    bench.clock.wait_until(10**9)
    READ[name](bench)
    assert len(bench.recorder) == 0
    bench.settle()
    bench.settle()
    assert len(bench.recorder) == 1
    assert (bench.recorder.drives == 9).all()
    READ[name](bench)
    assert len(bench.recorder) == 1


def test_every_way_of_sending_records_what_it_has_waited_for():
    display = load_display("banner")
    bench = Bench(display)
    bench.send(np.zeros(display.picture_shape, np.uint8))
    assert len(bench.recorder) == 1
    bench.send_frame(bytes(display.leds * 4))
    assert len(bench.recorder) == 2
    bench.send_frames(np.zeros((2, display.leds * 4), np.uint8), 10**8)
    assert len(bench.recorder) == 4
    bench.send(np.zeros(display.picture_shape, np.uint8), hold_ns=0)
    assert len(bench.recorder) == 4
    bench.settle()  # not latched yet
    assert len(bench.recorder) == 4
    bench.clock.wait_until(bench.clock.now_ns() + 10**9)
    assert len(bench.recorder) == 4
    bench.send_frame(bytes(display.leds * 4), hold_ns=0)
    assert len(bench.recorder) == 5


# WS2812B datasheet: 576 LEDs × 24 bits × 1.25 µs = 17.28 ms, 50 µs of reset, and 300 ns that each
# chip takes at most to pass data on, so 172.5 µs to the last.
def test_times_are_exact_to_the_nanosecond(tmp_path):
    path = tmp_path / "wall.toml"
    path.write_text("[grid]\ncolumns=24\nrows=24\n[chip]\npart='WS2812B'\n[wiring]\n")
    bench = Bench(load_display(path))
    bench.clock.wait_until(7)
    sent = bench.send(np.zeros((24, 24, 3), np.uint8))
    assert (sent.starts_ns, sent.wire_ns, sent.latched_ns) == (7, 17_280_000, 17_502_507)
    assert bench.clock.now_ns() == sent.ready_ns == 17_330_007
    bench.send(np.zeros((24, 24, 3), np.uint8))
    assert bench.frames.shape == (2, 576, 3)
    assert bench.recorder.times_ns.tolist() == [17_330_007, 2 * 17_330_000 + 7]


def test_the_bench_rounds_what_its_strips_have_led_by_led(tmp_path):
    path = tmp_path / "wall.toml"
    path.write_text("[grid]\ncolumns=24\nrows=24\n[chip]\npart='WS2812B'\n[wiring]\n")
    bench = Bench(load_display(path))
    for level in (1, 2, 3):
        sent = bench.send_frame(bytes([level]) * 576 * 3)
        assert not sent.early
        assert bench.clock.now_ns() == sent.ready_ns == sent.latched_ns - 575 * 300
        assert (bench.drives == level).all()
        shown = bench.strips[0].drives_at(sent.ready_ns + 300 * 200)
        assert shown[:, 0].tolist() == [level] * 201 + [level - 1] * 375
        assert (bench.strips[0].drives_at(sent.latched_ns) == level).all()
    assert (bench.frames == np.array([1, 2, 3])[:, None, None]).all()


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
        (["a", "b"], "Fix"),
        (3.5, "float64"),
        ([[1, 2], [3]], "Fix"),
        (None, "Fix"),
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
    with pytest.raises(FrameError, match="Fix"):
        bench.send_frames(whole[:, :-1], 10**9)
