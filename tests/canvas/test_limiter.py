from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator import CHIPS, canvas
from emulator.canvas import LimiterState, limit_smoothly

CHIP = CHIPS["WS2812B"]
_REFUSED = r"^(give a stack \(T, N, C\) of frames, and T times that do not fall|.* cannot be kept)$"
FRAME_NS = 33_333_333
RELEASE_NS = 1_000_000_000


def times(count: int) -> np.ndarray:
    return np.arange(count, dtype=np.int64) * FRAME_NS


def flashes(pattern: str) -> np.ndarray:
    """Frames of 50 LEDs: LED 0 at half, the others full where the pattern says '#'."""
    drives = np.zeros((len(pattern), 50, 3), np.uint8)
    drives[[c == "#" for c in pattern], 1:] = 255
    drives[:, 0] = 128
    return drives


@given(
    st.sampled_from(sorted(CHIPS)), st.integers(0, 999), st.floats(0.001, 1.2),
    st.integers(1, 5_000_000_000),
)  # fmt: skip
def test_no_frame_of_any_chip_exceeds_the_limit_and_none_gets_brighter(part, seed, share, gap_ns):
    chip = CHIPS[part]
    rng = np.random.default_rng(seed)
    drives = rng.integers(0, 256, (8, 9, len(chip.channels))).astype(np.uint8)
    drives[rng.random(8) < 0.3] = 0
    if "I" in chip.channels:
        drives[..., 3] %= 32
    dark_a = 9 * chip.dark_ma / 1000
    limit_a = dark_a + share * 9 * 3 * chip.channel_ma / 1000
    limited, state = limit_smoothly(drives, chip, limit_a, np.arange(8) * gap_ns)
    assert (canvas.current_a(limited, chip) <= limit_a).all()
    assert (limited <= drives).all()
    assert 0 <= state.scale <= 1


@given(st.integers(0, 999), st.integers(1, 11))
def test_frame_by_frame_with_hardware_is_the_same_as_a_stack(seed, cut):
    drives = np.random.default_rng(seed).integers(0, 256, (12, 9, 3)).astype(np.uint8)
    drives[::3] //= 8
    whole, end = limit_smoothly(drives, CHIP, 0.2, times(12))
    state = LimiterState()
    for number, now_ns in enumerate(times(12)):
        frame, state = limit_smoothly(
            drives[number : number + 1], CHIP, 0.2, np.array([now_ns]), state
        )
        assert (frame[0] == whole[number]).all()
    assert state == end
    head, middle = limit_smoothly(drives[:cut], CHIP, 0.2, times(12)[:cut])
    tail, _ = limit_smoothly(drives[cut:], CHIP, 0.2, times(12)[cut:], middle)
    assert (np.concatenate([head, tail]) == whole).all()


def test_frames_within_the_limit_pass_untouched_when_nothing_came_before():
    drives = flashes("....")
    limited, state = limit_smoothly(drives, CHIP, 1.0, times(4))
    assert (limited == drives).all()
    assert state.scale == 1


def test_attack_is_at_once_and_uses_what_the_limit_allows():
    limited, _ = limit_smoothly(flashes(".#"), CHIP, 1.0, times(2))
    assert 0.99 < canvas.current_a(limited[1], CHIP) <= 1.0


# The stated law: after a flash the scale climbs as 1 − (1 − s) e^(−t/release).
def test_release_takes_its_time():
    drives = flashes("#" + "." * 90)
    limited, state = limit_smoothly(drives, CHIP, 1.0, times(91), None, RELEASE_NS)
    steady = limited[:, 0, 0].astype(int)
    assert (np.diff(steady) >= 0).all()
    assert steady[0] < 60
    lit_a = 0.06 * (49 + 128 / 255)
    flash = (1.0 - 0.05) / lit_a
    after_1_s = 1 - (1 - flash) * np.exp(-1)
    assert steady[30] == pytest.approx(128 * after_1_s, abs=1.5)
    assert state.scale == pytest.approx(1 - (1 - flash) * np.exp(-3), abs=1e-6)


def test_it_does_not_pump_under_a_flashing_load():
    """A still LED beside flashes: scaled frame by frame it would jump between 40 and 128."""
    drives = flashes("#..." * 40)
    alone = canvas.limit_current(drives, CHIP, 1.0)[:, 0, 0].astype(int)
    smooth = limit_smoothly(drives, CHIP, 1.0, times(160), None, RELEASE_NS)[0][:, 0, 0].astype(int)
    assert np.abs(np.diff(alone)).max() > 80
    assert np.abs(np.diff(smooth)).max() <= 9  # 9 %: 3 frames of 33 ms out of 1 s


def test_darkness_between_lets_the_scale_climb_back():
    drives = flashes("#..")
    drives[1] = 0
    limited, _ = limit_smoothly(drives, CHIP, 1.0, np.array([0, 1, 20 * RELEASE_NS]), None)
    assert (limited[1] == 0).all()
    assert (limited[2] == drives[2]).all()


def test_a_limit_below_the_dark_current_is_refused():
    with pytest.raises(ValueError, match=r"the dark LEDs take 0\.05 A"):
        limit_smoothly(flashes("."), CHIP, 0.04, times(1))


def test_the_release_climbs_two_thirds_of_the_way_back_in_a_second_and_a_half():
    # The limit lets half of white through; then a picture that asks for less than the limit.
    drives = flashes("#.")
    limit_a = float(canvas.current_a(drives[:1], CHIP)[0]) / 2
    _, state = limit_smoothly(drives[:1], CHIP, limit_a, np.array([0]))
    _, later = limit_smoothly(drives[1:], CHIP, limit_a, np.array([1_500_000_000]), state)
    assert (later.scale - state.scale) / (1 - state.scale) == pytest.approx(1 - np.exp(-1))


@pytest.mark.parametrize(
    ("frames", "limit_a", "times_ns", "release_ns"),
    [
        (flashes("#"), float("nan"), [0], 1),
        (flashes("#"), 1.0, [0], 0),
        (flashes("##"), 1.0, [5, 4], 1),
        (flashes("##"), 1.0, [5], 1),
        (flashes("#")[0], 1.0, [5], 1),
    ],
)
def test_what_cannot_be_kept_is_refused(frames, limit_a, times_ns, release_ns):
    with pytest.raises(ValueError, match=_REFUSED):
        limit_smoothly(frames, CHIP, limit_a, np.array(times_ns), None, release_ns)


def test_the_time_between_two_calls_counts_as_that_between_two_frames():
    """The stated law, 1 − (1 − s) e^(−t/release), with times that do not begin at 0."""
    drives = flashes("#..")
    begin_ns = 7_000_000_000
    limited, first = limit_smoothly(drives[:1], CHIP, 1.0, np.array([begin_ns]), None, RELEASE_NS)
    assert (first.time_ns, type(first.time_ns)) == (begin_ns, int)
    assert first.scale == pytest.approx((1.0 - 0.05) / (0.06 * (49 + 128 / 255)))
    later_ns = begin_ns + np.array([400_000_000, 1_000_000_000])
    _, second = limit_smoothly(drives[1:2], CHIP, 1.0, later_ns[:1], first, RELEASE_NS)
    assert second.time_ns == later_ns[0]
    assert second.scale == pytest.approx(1 - (1 - first.scale) * np.exp(-0.4))
    _, third = limit_smoothly(drives[2:], CHIP, 1.0, later_ns[1:], second, RELEASE_NS)
    assert third.scale == pytest.approx(1 - (1 - first.scale) * np.exp(-1.0))
    _, both = limit_smoothly(drives[1:], CHIP, 1.0, later_ns, first, RELEASE_NS)
    assert both.scale == pytest.approx(third.scale, rel=1e-12)
    assert both.time_ns == third.time_ns == later_ns[1]
    with pytest.raises(ValueError, match="times that do not fall"):
        limit_smoothly(drives[:1], CHIP, 1.0, np.array([begin_ns - 1]), first)
    again, same = limit_smoothly(drives[:1], CHIP, 1.0, np.array([begin_ns]), first)
    assert (again == limited).all()
    assert same.scale == pytest.approx(first.scale, rel=1e-12)


def test_no_frames_change_nothing():
    state = LimiterState(0.5, 7)
    none, after = limit_smoothly(flashes("#")[:0], CHIP, 1.0, times(0), state)
    assert len(none) == 0
    assert after is state


def test_the_release_is_over_where_it_could_not_change_an_8_bit_drive_by_half_a_step():
    drives = flashes("#.")
    _, state = limit_smoothly(drives[:1], CHIP, 1.0, np.array([0]), None, RELEASE_NS)
    over_s = np.log((1 - state.scale) * 512)  # then 1/512 is missing from 1
    for after_s, scale in (
        (over_s - 0.01, pytest.approx(1 - 1 / 512, abs=3e-5)),
        (over_s + 0.01, 1),
    ):
        at_ns = np.array([round(after_s * 1e9)])
        assert limit_smoothly(drives[1:], CHIP, 1.0, at_ns, state, RELEASE_NS)[1].scale == scale
    at_that_very_scale = LimiterState(1 - 1 / 512, 0)
    assert limit_smoothly(drives[1:], CHIP, 1.0, np.array([0]), at_that_very_scale)[1].scale == 1


def test_any_release_above_nothing_will_do():
    assert limit_smoothly(flashes("#."), CHIP, 1.0, times(2), None, 1)[1].scale == 1
