"""What chips read of edges depends on the bytes, not on when they are sent."""

from __future__ import annotations

from unittest import mock

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from emulator import CHIPS, Bench, load_display
from emulator.signal import roundtrip
from emulator.signal.roundtrip import Reader, as_read


@given(
    st.sampled_from(sorted(CHIPS)),
    st.binary(min_size=1, max_size=40),
    st.floats(2e5, 2e7),
    st.integers(0, 10**15),
)
def test_edges_later_are_read_the_same(part, data, clock_hz, later_ns):
    sent, wire = np.frombuffer(data, np.uint8), CHIPS[part].wire
    read = as_read(sent, wire, clock_hz, 0)
    assert np.array_equal(as_read(sent, wire, clock_hz, later_ns), read)


@given(
    st.sampled_from(sorted(CHIPS)),
    st.lists(st.binary(max_size=6), min_size=1, max_size=8),
    st.sampled_from([0, 9, 1 << 21]),
)
def test_a_reader_reads_each_frame_as_if_it_were_the_first(part, frames, most_known):
    wire = CHIPS[part].wire
    with mock.patch.object(roundtrip, "_MOST_KNOWN", most_known):
        reader, one_buffer = Reader(wire, 1e6), np.zeros(6, np.uint8)
        for number, data in enumerate(frames):
            sent = one_buffer[: len(data)]  # as code that fills the same buffer again and again
            sent[:] = np.frombuffer(data, np.uint8)
            read = reader.read(sent, number * 10**6)
            assert np.array_equal(read, as_read(sent, wire, 1e6, 0) if data else sent)


def test_a_reader_whose_memory_is_full_still_knows_what_fits_into_it():
    frames = [np.full(6, number, np.uint8) for number in (0, 1, 2, 1)]
    reader = Reader(CHIPS["WS2812B"].wire, 1e6)
    with (
        mock.patch.object(roundtrip, "_MOST_KNOWN", 12),
        mock.patch.object(roundtrip, "as_read", wraps=as_read) as reading,
    ):
        for frame in frames:
            reader.read(frame, 0)
    assert reading.call_count == 3


def test_frames_of_one_length_are_not_taken_for_each_other():
    display = load_display("sign")
    bench = Bench(display, waveform=True)
    for level in (255, 0, 128, 128, 1):
        bench.send(np.full(display.picture_shape, level, np.uint8))
        reference = Bench(display)
        reference.send(np.full(display.picture_shape, level, np.uint8))
        assert np.array_equal(bench.drives, reference.drives)
