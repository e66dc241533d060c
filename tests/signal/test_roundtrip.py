"""What chips read of edges depends on the bytes, not on when they are sent."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from emulator import CHIPS
from emulator.signal.roundtrip import as_read


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
