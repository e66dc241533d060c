"""Captures as raw samples."""

from __future__ import annotations

import gzip

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from emulator.errors import CaptureError
from emulator.signal import samples
from emulator.signal.capturefile import CaptureFile
from emulator.signal.samples import read_samples
from emulator.signal.waveform import from_samples


@pytest.fixture
def file(tmp_path):
    return tmp_path / "capture.bin"


def test_bits_are_lines_and_sample_numbers_are_times(file):
    file.write_bytes(bytes([0b001, 0b101, 0b101, 0b100]))
    lines = read_samples(file, 4_000_000, [0, 2])
    assert list(lines) == ["bit 0", "bit 2"]
    assert lines["bit 0"].edges_ns.tolist() == [750]
    assert lines["bit 2"].edges_ns.tolist() == [250]
    assert (lines["bit 0"].first_level, lines["bit 2"].first_level) == (True, False)
    assert (lines["bit 0"].start_ns, lines["bit 0"].end_ns) == (0, 1000)
    assert lines["bit 0"].resolution_ns == 250


@pytest.mark.slow
def test_a_rate_that_does_not_divide_a_second_does_not_drift(file):
    # 24 MHz: sample 24,000,000 n is at n seconds; sample 1 at 41.67 ns
    data = np.zeros(72_000_001, np.uint8)
    data[[1, 24_000_000, 48_000_000]] = 1
    file.write_bytes(gzip.compress(data.tobytes(), 1))
    line = read_samples(file, 24_000_000, [0])["bit 0"]
    assert line.edges_ns[:3].tolist() == [42, 83, 1_000_000_000]
    assert line.edges_ns[4] == 2_000_000_000
    assert (line.resolution_ns, line.rounding_ns) == (pytest.approx(41.6667, abs=1e-4), 1)


@given(st.binary(min_size=1, max_size=60), st.integers(0, 7))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_in_blocks_it_reads_as_all_samples_at_once(file, monkeypatch, data, bit):
    monkeypatch.setattr(samples, "_BLOCK", 7)
    file.write_bytes(data)
    line = read_samples(file, 1_000_000, [bit])[f"bit {bit}"]
    whole = from_samples(np.frombuffer(data, np.uint8) >> bit & 1, 1000)
    assert line.edges_ns.tolist() == whole.edges_ns.tolist()
    assert (line.first_level, line.end_ns) == (whole.first_level, whole.end_ns)


@pytest.mark.parametrize(
    ("rate", "bits", "said"),
    [
        (0, [0], "a rate of 0 Hz"),
        (2_000_000_000, [0], "a rate of 2000000000 Hz"),
        (1000, [8], "the bits 8"),
        (1000, [1, 1], "the bits 1, 1"),
        (1000, [], "the bits (none)"),
        (1000, [0], "there is no sample"),
    ],
)
def test_what_does_not_fit_is_refused(file, rate, bits, said):
    file.write_bytes(b"")
    with pytest.raises(CaptureError) as caught:
        read_samples(file, rate, bits)
    assert said in str(caught.value)
    assert "\n  Fix: " in str(caught.value)


def test_no_file_is_told(file):
    with pytest.raises(CaptureError, match="cannot be read"):
        read_samples(file, 1000, [0])


@pytest.mark.parametrize("order", ["little", "big"])
def test_packed_samples_are_eight_a_byte_in_either_order(file, monkeypatch, order):
    lengths = np.random.default_rng(1).integers(3, 40, 400)  # of levels, in samples
    levels = np.repeat(np.arange(400) & 1, lengths).astype(np.uint8)
    levels = levels[: levels.size // 8 * 8]
    file.write_bytes(np.packbits(levels, bitorder=order).tobytes())
    monkeypatch.setattr(samples, "_BLOCK", 64)
    line = CaptureFile(file, 8_000_000, packed=True).waveforms()["line 0"]
    assert line.edges_ns.tolist() == (125 * (np.flatnonzero(np.diff(levels)) + 1)).tolist()
    assert (line.start_ns, line.end_ns, line.resolution_ns) == (0, 125 * levels.size, 125)


def test_packed_samples_read_as_one_a_byte_are_refused(file):
    levels = np.repeat(np.arange(4000) & 1, np.random.default_rng(1).integers(6, 30, 4000))
    file.write_bytes(np.packbits(levels.astype(np.uint8)).tobytes())
    with pytest.raises(CaptureError, match="give --packed"):
        read_samples(file, 24_000_000, [0])


def test_packed_samples_have_no_bits_and_need_a_rate(file):
    for rate, bits in ((1000, (0,)), (None, ())):
        with pytest.raises(CaptureError, match="Fix"):
            CaptureFile(file, rate, bits, packed=True)
    file.write_bytes(b"")
    with pytest.raises(CaptureError, match="no sample"):
        CaptureFile(file, 1000, packed=True).waveforms()


def packed_line(file, rate, order):
    """Pulses of 0.3 or 0.8 µs, 1.25 µs apart (WS2813B), sampled and packed in this order."""
    ones = np.random.default_rng(3).integers(0, 2, 240)
    widths = np.stack([np.where(ones, 800, 300), np.where(ones, 450, 950)], axis=1).ravel()
    edges = np.ceil((20_000 + np.cumsum(widths)) * rate / 1e9).astype(int)
    toggles = np.zeros((edges[-1] + 500) // 8 * 8, np.uint8)
    toggles[edges] = 1
    file.write_bytes(np.packbits(np.bitwise_xor.accumulate(toggles), bitorder=order).tobytes())
    return edges


# At 12 and 12.8 MHz a bit is 15 and 16 samples: ends of bytes in the wrong order look the same.
@pytest.mark.parametrize("rate", [4_000_000, 8_000_000, 12_000_000, 12_800_000, 24_000_000])
@pytest.mark.parametrize(("order", "first"), [("little", "lowest"), ("big", "highest")])
def test_the_order_of_packed_samples_is_told_at_any_rate(file, rate, order, first):
    edges = packed_line(file, rate, order)
    for said in (None, first):
        line = CaptureFile(file, rate, packed=True, first=said).waveforms()["line 0"]
        assert line.edges_ns.tolist() == ((edges * 10**9 + rate // 2) // rate).tolist()


def test_an_order_that_the_data_do_not_tell_is_asked_for(file):
    file.write_bytes(bytes([0, 0b00011000, 0, 0b00111100, 0]))  # the same from either end
    with pytest.raises(CaptureError, match="--first-sample lowest or highest"):
        CaptureFile(file, 8_000_000, packed=True).waveforms()
    line = CaptureFile(file, 8_000_000, packed=True, first="lowest").waveforms()["line 0"]
    assert line.edges_ns.tolist() == [125 * n for n in (11, 13, 26, 30)]
    with pytest.raises(CaptureError, match="give --packed"):
        CaptureFile(file, 8_000_000, first="lowest")
