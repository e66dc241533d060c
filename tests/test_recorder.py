from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator import Recorder


@given(st.lists(st.integers(1, 200), max_size=8), st.none() | st.integers(1, 40))
def test_frames_come_back_in_order_with_their_times(sizes, keep):
    recorder = Recorder(2, 3, keep)
    count = 0
    for size in sizes:
        times = np.arange(count, count + size)
        drives = np.broadcast_to((times % 251)[:, None, None], (size, 2, 3)).astype(np.uint8)
        if size == 1:
            recorder.append(count, drives[0])
        else:
            recorder.extend(times, drives)
        count += size
    assert recorder.times_ns.tolist() == list(range(count - len(recorder), count))
    assert (recorder.drives[:, 0, 0] == recorder.times_ns % 251).all()
    if keep is None:
        assert len(recorder) == count
    else:
        assert min(keep, count) <= len(recorder) <= 2 * keep


def test_a_bounded_recorder_does_not_grow():
    recorder = Recorder(4, 3, keep=10)
    for number in range(1000):
        recorder.append(number, np.zeros((4, 3), np.uint8))
    assert recorder._drives.shape[0] <= 64


def test_what_was_read_stays_as_it_was_read():
    recorder = Recorder(1, 3)
    recorder.append(1, np.ones((1, 3), np.uint8))
    seen = recorder.drives
    for number in range(2, 100):
        recorder.append(number, np.zeros((1, 3), np.uint8))
    assert seen.tolist() == [[[1, 1, 1]]]
    with pytest.raises(ValueError, match="broadcast"):
        recorder.append(0, np.zeros((2, 3), np.uint8))
