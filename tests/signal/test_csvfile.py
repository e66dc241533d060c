"""Captures as CSV."""

from __future__ import annotations

import gzip

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from emulator.errors import CaptureError
from emulator.signal import csvfile
from emulator.signal.csvfile import read_csv

on_files = settings(
    max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None
)


@pytest.fixture
def file(tmp_path):
    return tmp_path / "capture.csv"


def read(file, text, **options):
    file.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_csv(file, **options)


def test_rows_of_changes_with_a_unit_in_the_heading(file):
    lines = read(file, "time_us,DATA,CLK\n0,0,1\n1.5,1,1\n2.25,1,0\n4,0,0\n")
    assert list(lines) == ["DATA", "CLK"]
    assert lines["DATA"].edges_ns.tolist() == [1500, 4000]
    assert lines["CLK"].edges_ns.tolist() == [2250]
    assert (lines["DATA"].first_level, lines["CLK"].first_level) == (False, True)
    assert (lines["DATA"].start_ns, lines["DATA"].end_ns) == (0, 4000)
    assert lines["DATA"].resolution_ns == 250  # the greatest common divisor, by hand


@pytest.mark.parametrize(
    ("heading", "scale_ns"),
    [
        ("time", 10**9),
        ("Time [s]", 10**9),
        ("Time (ms)", 10**6),
        ("t/us", 1000),
        ("t µs", 1000),
        ("time_ns", 1),
        ("ns", 1),
        ("samples", 10**9),
    ],
)
def test_units_of_time(file, heading, scale_ns):
    lines = read(file, f"{heading},D\n0,0\n3,1\n")
    assert lines["D"].edges_ns.tolist() == [3 * scale_ns]


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_without_a_heading_lines_are_numbered_and_time_is_seconds(file, delimiter, end):
    rows = ["0", "0", "1"], ["1e-6", "1", "1"], ["-0", "0", "0"]
    text = end.join(delimiter.join(row) for row in rows[:2]) + end
    lines = read(file, text)
    assert list(lines) == ["line 0", "line 1"]
    assert lines["line 0"].edges_ns.tolist() == [1000]


def test_one_row_a_sample(file):
    levels = [0, 0, 1, 1, 0]
    lines = read(file, "ns,D\n" + "".join(f"{250 * i},{v}\n" for i, v in enumerate(levels)))
    assert lines["D"].edges_ns.tolist() == [500, 1000]
    assert lines["D"].resolution_ns == 250


def test_the_step_behind_rounded_times_is_found_or_given(file):
    # 12 MHz: 83.3 ns, whose rounded times have no common divisor but 1 ns
    text = "ns,D\n" + "".join(f"{round(i * 1000 / 12)},{i & 1}\n" for i in range(7))
    line = read(file, text)["D"]
    assert (line.resolution_ns, line.rounding_ns) == (pytest.approx(83.333, abs=0.1), 1)
    line = read(file, text, rate_hz=24_000_000)["D"]
    assert (line.resolution_ns, line.rounding_ns) == (pytest.approx(41.667, abs=1e-3), 1)


def test_of_rows_at_one_time_the_last_counts(file):
    assert read(file, "ns,D\n0,0\n5,1\n5,0\n9,1\n")["D"].edges_ns.tolist() == [9]


def test_names_that_come_twice_are_told_apart(file):
    assert list(read(file, 'ns,"D",D,\n0,0,0,0\n')) == ["D 0", "D 1", "line 2"]


def test_times_before_0_and_a_byte_order_mark(file):
    lines = read(file, "\ufefftime_ns,D\n-500,0\n-250,1\n")
    assert lines["D"].edges_ns.tolist() == [-250]


def test_gzipped(tmp_path):
    path = tmp_path / "capture.csv.gz"
    path.write_bytes(gzip.compress(b"ns,D\n0,0\n7,1\n"))
    assert read_csv(path)["D"].edges_ns.tolist() == [7]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "there is no row"),
        ("time,D\n", "there is no row"),
        ("time\n0\n", "row 1: only one column"),
        ("ns,D\n0,0\n1,2\n", "row 3: this is no time with 1 levels of 0 or 1\n    1,2"),
        ("ns,D\n0,0\n1,1,1\n", "row 3"),
        ("ns,D\n0,0\n1\n", "row 3"),
        ("ns,D\n0,0\nx,1\n", "row 3"),
        ("ns,D\n0,0\nnan,1\n", "row 3"),
        ("ns,D\n0,0\n1e300,1\n", "row 3"),
        ("ns,D\n0,0\n\n1,0.5\n", "row 4"),
        ("ns,D\n9,0\n4,1\n", "time goes backwards, to 4 ns"),
        (b"ns,D\n\xff\xfe,0\n", "row 2"),
    ],
)
def test_what_is_no_capture_is_refused_with_its_row(file, text, said):
    with pytest.raises(CaptureError) as caught:
        read(file, text)
    assert said in str(caught.value)
    assert "\n  To mend: " in str(caught.value)


def test_a_row_of_many_megabytes_is_refused(file, monkeypatch):
    monkeypatch.setattr(csvfile, "_BLOCK", 64)
    with pytest.raises(CaptureError, match="a row of over"):
        read(file, "0," * 200)


@given(st.lists(st.tuples(st.integers(1, 900), st.booleans(), st.booleans()), min_size=1))
@on_files
def test_in_blocks_of_any_size_it_reads_as_a_naive_reader_does(file, monkeypatch, rows):
    monkeypatch.setattr(csvfile, "_BLOCK", 16)
    times = np.cumsum([gap for gap, _, _ in rows]).tolist()
    text = "ns,A,B\n" + "".join(
        f"{time},{int(a)},{int(b)}\n" for time, (_, a, b) in zip(times, rows, strict=True)
    )
    lines = read(file, text)
    for name, column in (("A", 1), ("B", 2)):
        levels = [row[column] for row in rows]
        edges = [
            t for t, new, old in zip(times[1:], levels[1:], levels, strict=False) if new != old
        ]
        assert lines[name].edges_ns.tolist() == edges
        assert lines[name].first_level == levels[0]


@given(st.binary(max_size=200))
@on_files
def test_any_bytes_are_read_or_refused(file, data):
    try:
        lines = read(file, data)
    except CaptureError as error:
        assert "To mend:" in str(error)
    else:
        assert all(line.start_ns <= line.end_ns for line in lines.values())
