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

on_files = settings(suppress_health_check=[HealthCheck.function_scoped_fixture])


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
        ("time\n0\n", "row 1: there is only one column"),
        ("ns,D\n0,0\n1,2\n", "row 3: this is not a time with 1 levels of 0 or 1\n    1,2"),
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
    assert "\n  Fix: " in str(caught.value)


def test_a_row_of_many_megabytes_is_refused(file, monkeypatch):
    monkeypatch.setattr(csvfile, "_BLOCK", 64)
    with pytest.raises(CaptureError, match="a row is longer than"):
        read(file, "0," * 200)


@pytest.mark.slow
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
        assert "Fix:" in str(error)
    else:
        assert all(line.start_ns <= line.end_ns for line in lines.values())


# What other programs and countries write: the same four rows, at 0, 1.5, 2.25 and 4 µs.
DIALECTS = {
    "semicolons, decimal commas": "time_us;D;C\n0,0;0;1\n1,5;1;1\n2,25;1;0\n4,0;0;0\n",
    "tabs, decimal commas": "time_us\tD\tC\n0,0\t0\t1\n1,5\t1\t1\n2,25\t1\t0\n4,0\t0\t0\n",
    "quoted": '"time_us","D","C"\n"0","0","1"\n"1.5","1","1"\n"2.25","1","0"\n"4","0","0"\n',
    "quoted decimal commas": 'time_us,D,C\n"0,0",0,1\n"1,5",1,1\n"2,25",1,0\n"4,0",0,0\n',
    "a preamble of ;": "; Channels: 2\n; a, b\ntime_us,D,C\n0,0,1\n1.5,1,1\n2.25,1,0\n4,0,0\n",
    "a preamble of #": "# a: 1, 2\n\n# b\ntime_us,D,C\n0,0,1\n1.5,1,1\n2.25,1,0\n4,0,0\n",
    "names in a comment": "# time_us,D,C\n0,0,1\n1.5,1,1\n2.25,1,0\n4,0,0\n",
    "a row of units": "Time,D,C\n(us),(V),(V)\n0,0,1\n1.5,1,1\n2.25,1,0\n4,0,0\n",
    "units, semicolons": "Time;D;C\nus;V;V\n0,0;0;1\n1,5;1;1\n2,25;1;0\n4,0;0;0\n",
    "H and L": "time_us,D,C\n0,L,H\n1.5,H,H\n2.25,H,L\n4,L,L\n",
    "high and low": "time_us,D,C\n0,low,High\n1.5,high,High\n2.25,high,Low\n4,low,Low\n",
    "trailing commas": "time_us,D,C,\n0,0,1,\n1.5,1,1,\n2.25,1,0,\n4,0,0,\n",
    "ps": "Time [ps],D,C\n0,0,1\n1500000,1,1\n2250000,1,0\n4000000,0,0\n",
    "spaces": "time_us, D, C\n0, 0, 1\n1.5, 1, 1\n2.25, 1, 0\n4, 0, 0\n",
    "times of day": (
        "Time,D,C\n00:00:00.000000,0,1\n00:00:00.0000015,1,1\n"
        "00:00:00.00000225,1,0\n00:00:00.000004,0,0\n"
    ),
    "levels as 1.0": "time_us,D,C\n0,0.0,1.0\n1.5,1.0,1.0\n2.25,1.0,0.0\n4,0.0,0.0\n",
}


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be"])
@pytest.mark.parametrize("dialect", DIALECTS)
def test_dialects_and_encodings(file, dialect, encoding):
    lines = read(file, DIALECTS[dialect].encode(encoding))
    assert list(lines) == ["D", "C"]
    assert lines["D"].edges_ns.tolist() == [1500, 4000]
    assert lines["C"].edges_ns.tolist() == [2250]
    assert (lines["D"].first_level, lines["C"].first_level) == (False, True)


@pytest.mark.parametrize(
    "text",
    [
        "Time,D\n2026-11-28 05:00:00.000000,0\n2026-11-28T05:00:00.0000015,1\n",
        "Time;D\n2026/11/28 05:00:00,0000000;0\n2026/11/28 05:00:00,0000015;1\n",
        '"Time","D"\n"2026-11-28T05:00:00.000000000Z","L"\n"2026-11-28T05:00:00.000001500Z","H"\n',
    ],
)
def test_dates_with_times_count_from_midnight(file, text):
    line = read(file, text)["D"]
    assert (line.start_ns, line.edges_ns.tolist()) == (18_000 * 10**9, [18_000 * 10**9 + 1500])


@pytest.mark.parametrize(
    "text", ["D,C\n0,1\n1,1\n1,0\n0,0\n", "0,1\n1,1\n1,0\n0,0\n", "L;H\nH;H\nH;L\nL;L\n"]
)
def test_without_times_each_row_is_a_sample(file, text):
    one, two = read(file, text, rate_hz=24_000_000).values()
    assert (one.edges_ns.tolist(), two.edges_ns.tolist()) == ([42, 125], [83])
    assert one.resolution_ns == pytest.approx(41.667, abs=1e-3)


def test_a_single_column_and_a_rate_in_the_preamble(file):
    line = read(file, "; Sample rate: 24 MHz\n; one line\nD\n0\n0\n1\n0\n")["D"]
    assert (line.edges_ns.tolist(), line.margin_ns) == ([83, 125], pytest.approx(42.667, abs=1e-3))


def test_without_times_in_blocks_the_count_goes_on(file, monkeypatch):
    monkeypatch.setattr(csvfile, "_BLOCK", 16)
    line = read(file, "D\n" + "0\n" * 50 + "1\n" * 50, rate_hz=1_000_000)["D"]
    assert line.edges_ns.tolist() == [50_000]


def test_numbers_of_samples_and_a_rate(file):
    line = read(file, "Sample,D\n0,0\n24,1\n48,0\n", rate_hz=24_000_000)["D"]
    assert line.edges_ns.tolist() == [1000, 2000]


def test_ragged_rows_are_refused_in_every_dialect(file):
    for text in ("t;D;C\n0,5;0;1\n1,5;1\n", 't,D,C\n"0,5",0,1\n"1,5",1\n', "t,D,\n0,0,\n1,1,1,\n"):
        with pytest.raises(CaptureError, match="row 3"):
            read(file, text)


@pytest.mark.parametrize(
    "head",
    [
        "Time,CLK,Data\nns,level,level\n",
        "Time,CLK,Data\nns,,\n",
        "Time,CLK,Data\n(ns),(V),(V)\n",
        "Time,CLK,Data\n[ns],logic,logic\n",
        "t,CLK,Data\nns,level,digital\n",
        "x-axis,CLK,Data\nns,1 / 0,1 / 0\n",
        "made,by,us\nTime [ns],CLK,Data\n",
    ],
)
def test_a_row_of_units_takes_no_names(file, head):
    lines = read(file, head + "0,0,0\n250,1,0\n500,0,1\n")
    assert list(lines) == ["CLK", "Data"]
    assert lines["CLK"].edges_ns.tolist() == [250, 500]


@pytest.mark.parametrize(
    ("head", "times"),
    [
        ("Sample,Time(s),D\n", ("0.00000000", "0.00000025", "0.00000050")),
        ("#,Time [ns],D\n", ("0", "250", "500")),
        ("index,time,D\n,ns,\n", ("0", "250", "500")),
        (
            "Sample No.;Date and time;D\n",
            tuple(f"1970-01-01 00:00:00.000000{n:03}" for n in (0, 250, 500)),
        ),
    ],
)
def test_numbers_of_samples_may_stand_ahead_of_their_times(file, head, times):
    cut = ";" if ";" in head else ","
    rows = (f"{n}{cut}{time}{cut}{n % 2}\n" for n, time in enumerate(times))
    lines = read(file, head + "".join(rows))
    assert {name: line.edges_ns.tolist() for name, line in lines.items()} == {"D": [250, 500]}


def test_digits_tell_what_times_are_rounded_to(file):
    rng = np.random.default_rng(5)
    samples = np.cumsum(rng.integers(3, 14, 300))

    def step(rate, form):
        rows = (f"{form.format(n / rate)},{i & 1}\n" for i, n in enumerate(samples))
        line = read(file, "Time [s],D\n" + "".join(rows))["D"]
        return line.resolution_ns, line.rounding_ns

    assert step(62.5e6, "{:.8f}") == (pytest.approx(16, abs=0.01), 10)
    assert step(62.5e6, "{:.9f}") == (16, 0)
    # 16 MHz, 62.5 ns, with six digits in all: rounded to 0.1 ns at first, to 10 ns in the end.
    samples += 15_000
    assert step(16e6, "{:.5e}") == (pytest.approx(62.5, abs=0.01), 10)
    assert step(16e6, "{:.6g}") == (pytest.approx(62.5, abs=0.01), 10)
