"""VCD files: what the standard allows, what is refused, and that nothing else ever escapes."""

from __future__ import annotations

import gzip
import io
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from vcd.reader import TokenKind, tokenize

from emulator.errors import CaptureError
from emulator.signal import vcd
from emulator.signal.vcd import read_vcd

CAPTURES = Path(__file__).parents[1] / "captures"
SMALL = (CAPTURES / "rgbw_4leds_4mhz.vcd").read_bytes()
HEADER = "$timescale 1 ns $end $scope module top $end $var wire 1 ! A $end $upscope $end\n"
BEGIN = HEADER + "$enddefinitions $end\n"
on_files = settings(suppress_health_check=[HealthCheck.function_scoped_fixture])


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "line.vcd"


def read(file: Path, text: str | bytes) -> vcd.VcdLines:
    file.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_vcd(file)


def edges(lines: vcd.VcdLines, name: str = "A") -> tuple[list[int], bool, int, int]:
    line = lines.waveforms[name]
    return line.edges_ns.tolist(), line.first_level, line.start_ns, line.end_ns


# IEEE 1364-2001 §18.2: syntax of the file. Each text is worked by hand.
@pytest.mark.parametrize(
    ("body", "expected"),
    [
        ("#0\n$dumpvars\n0!\n$end\n#10\n1!\n#25\n0!\n#40\n", ([10, 25], False, 0, 40)),
        ("#0 1! #10 0! #25 1! #40", ([10, 25], True, 0, 40)),  # all on one line
        ("$dumpvars 0! $end #10 1! #30", ([10], False, 0, 30)),  # values before any time: at 0
        ("#100 1! #110 0!", ([110], True, 100, 110)),
        ("#100 #105 1! #110 0!", ([105, 110], False, 100, 110)),  # unknown at first: low
        ("#5 1! 0! 1! #9 1! #12 0!", ([12], True, 5, 12)),  # the last value at a time counts
        ("#0 0! #5 1! 0! #9", ([], False, 0, 9)),
        ("#0 0! #5 1! #5 0! #9", ([], False, 0, 9)),
        ("#0 b0 ! #5 b1 ! #9 B0 ! #12", ([5, 9], False, 0, 12)),
        ("#0 0!\n#5 b1\n!\n#9\n", ([5], False, 0, 9)),
        ("#0 1! #5 x! #9 Z! #12 1! #20", ([5, 12], True, 0, 20)),
        ("#0 1! #5 $dumpoff x! $end #9 $dumpon 1! $end #12", ([5, 9], True, 0, 12)),
        ("#0 0! $comment 1! #1 is not $end #5 1! #9", ([5], False, 0, 9)),
        ("#0 0! #5 $dumpall 1! $end #9", ([5], False, 0, 9)),
        ("#7\r\n1!\r\n#8\r\n", ([], True, 7, 8)),
    ],
)
def test_bodies_the_standard_allows(
    file: Path, body: str, expected: tuple[list[int], bool, int, int]
) -> None:
    assert edges(read(file, BEGIN + body)) == expected


def test_unknown_values_are_low_and_counted(file: Path) -> None:
    assert read(file, BEGIN + "#0 1! #5 x! #9 Z! #12 1!").unknown == 2


def test_other_variables_are_passed_over(file: Path) -> None:
    header = (
        "$date today $end $version 1 $end $timescale 1 ns $end $scope module top $end\n"
        "$var wire 1 ! A $end $var wire 8 bus B [7:0] $end $var real 64 r# C $end\n"
        "$var reg 1 0 D $end $upscope $end $enddefinitions $end\n"
    )
    body = "#0 0! b00000000 bus r0.5 r# 00 #5 1! b1 bus r-1e3 r# #9 10 bx0 bus #12"
    lines = read(file, header + body)
    assert lines.passed_over == ("B[7:0]", "C")
    assert edges(lines) == ([5], False, 0, 12)
    assert edges(lines, "D") == ([9], False, 0, 12)


def test_in_a_file_of_buses_every_bit_is_a_line(file: Path) -> None:
    header = (
        "$timescale 1 ns $end $var wire 4 ! D [3:0] $end $var wire 2 b E [4:5] $end "
        "$enddefinitions $end "
    )
    # IEEE 1364-2001 §18.2.1: a vector is filled up on the left with 0 for 0 and 1, else with x, z.
    body = "#0 b0 ! b11 b #10 b1000 ! #20 b11 ! b1 b #30 bx1 ! #40 b0 !"
    lines = read(file, header + body)
    found = {name: edges(lines, name)[:2] for name in lines.waveforms}
    assert found == {
        "D[0]": ([20, 40], False),
        "D[1]": ([20, 30], False),  # x reads as low
        "D[2]": ([], False),
        "D[3]": ([10, 20], False),
        "E[5]": ([], True),
        "E[4]": ([20], True),
    }
    assert lines.waveforms["D[1]"].unknown == 1


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "utf-16-be"])
def test_encodings(file: Path, encoding: str) -> None:
    text = (BEGIN + "#0 0! #10 1! #25 0! #40").encode(encoding)
    assert edges(read(file, text)) == ([10, 25], False, 0, 40)


def test_one_bit_of_a_bus_declared_by_itself(file: Path) -> None:
    text = "$timescale 1 ns $end $var wire 1 ! D [3] $end $enddefinitions $end #0 0! #5 1! #9"
    assert list(read(file, text).waveforms) == ["D[3]"]


def test_an_identifier_may_look_like_anything(file: Path) -> None:
    header = (
        "$timescale 1 ns $end $var wire 1 #1 A $end $var wire 1 b1 B $end $var wire 1 $x C $end"
    )
    body = "#0 0#1 0b1 0$x #3 b1 #1 b1 b1 #6 b1 $x #9"
    lines = read(file, f"{header} $enddefinitions $end {body}")
    assert [edges(lines, name)[0] for name in "ABC"] == [[3], [3], [6]]


def test_names_that_occur_twice_have_their_scopes(file: Path) -> None:
    text = (
        "$timescale 1 ns $end $scope module p $end $var wire 1 ! D $end $upscope $end\n"
        '$scope module q $end $var wire 1 " D $end $var wire 1 ! E $end $upscope $end\n'
        '$enddefinitions $end #0 0! 1" #5 1! #9'
    )
    lines = read(file, text)
    assert {name: edges(lines, name)[:2] for name in lines.waveforms} == {
        "p.D": ([5], False),
        "q.D": ([], True),
        "E": ([5], False),  # the same net under another name
    }


@pytest.mark.parametrize(
    ("scale", "ticks", "expected"),
    [
        ("1 s", [0, 1, 2], [0, 10**9, 2 * 10**9]),
        ("100 us", [0, 1, 3], [0, 100_000, 300_000]),
        ("10ns", [0, 1, 3], [0, 10, 30]),
        ("100 ps", [0, 14, 15, 30], [0, 1, 2, 3]),  # half up
        ("1 fs", [0, 499_999, 2_500_000], [0, 0, 3]),
    ],
)
def test_timescales(file: Path, scale: str, ticks: list[int], expected: list[int]) -> None:
    header = f"$timescale {scale} $end $var wire 1 ! A $end $enddefinitions $end"
    body = " ".join(f"#{tick} {i % 2}!" for i, tick in enumerate(ticks))
    line = read(file, f"{header} {body}").waveforms["A"]
    kept = [t for i, t in enumerate(expected[1:]) if t > 0 or i]  # one edge at the start: no edge
    assert line.edges_ns.tolist() == kept
    assert line.end_ns == expected[-1]


def test_edges_that_round_to_one_nanosecond_drop_out(file: Path) -> None:
    header = "$timescale 100 ps $end $var wire 1 ! A $end $enddefinitions $end"
    lines = read(file, header + "#0 0! #51 1! #53 0! #90 1! #140 0! #200")
    assert edges(lines)[0] == [9, 14]


def test_resolution_is_the_common_step_or_what_the_header_says(file: Path) -> None:
    body = "#0 0! #1000 1! #1500 0! #2250 1! #2750 0! #9999"
    assert read(file, BEGIN + body).waveforms["A"].resolution_ns == 250
    noted = HEADER + "$comment sampled every 10 ns $end $enddefinitions $end " + body
    assert read(file, noted).waveforms["A"].resolution_ns == 10
    off_grid = "#0 0! #1003 1! #1503 0! #2253 1!"  # the grid need not go through 0
    assert read(file, BEGIN + off_grid).waveforms["A"].resolution_ns == 250
    coarse = BEGIN.replace("1 ns", "1 us") + "#0 0! #3 1! #4 0!"
    assert read(file, coarse).waveforms["A"].resolution_ns == 2000  # two ticks may hide a step


@pytest.mark.parametrize(
    ("body", "line", "message"),
    [
        ("#0 0!\n#9 1!\n#8 0!\n", 5, "backwards, from 9 to 8"),
        ("#0 0!\n1?\n", 4, r"'\?' was not declared"),
        ("#0 0!\n1long\n", 4, "'long' was not declared"),
        ("#0\n1\n", 4, "without its identifier"),
        ("#0\n\nb1", 5, "without its identifier"),
        ("#0\nb !\n", 4, "a vector without a value"),
        ("#0\nq!\n", 4, "not a value change"),
        ("#0\n$end\n$foo\n", 5, "keyword out of place"),
        ("#0\n#12a\n", 4, "not a time"),
        ("#0\n#\n", 4, "not a time"),
        ("#0\n#-3\n", 4, "not a time"),
        ("#0\n#1234567890123456789\n", 4, "not a time"),
        ("#0\n$comment never closed\n1!\n", 4, "not closed"),
        ("#0 0!\n$comment 1\n2 $end\n#5 1!\n#4\n", 7, "backwards"),
    ],
)
def test_damage_is_named_with_its_line(file: Path, body: str, line: int, message: str) -> None:
    where = rf"line\.vcd, line {line}: "
    with pytest.raises(CaptureError, match=rf"{where}.*{message}[\s\S]*Fix"):
        read(file, BEGIN + body)


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "no end of the header"),
        (b"\x00\x01\xff" * 50, "header is broken"),
        (HEADER.encode(), "no end of the header"),
        (BEGIN.encode(), "no value changes"),
        (b"$var wire 1 ! A $end $enddefinitions $end #0", "no .timescale"),
        (b"$timescale 3 ns $end $enddefinitions $end #0", "timescale 3"),
        (b"$timescale 1 year $end", "line 1: the header is broken"),
        (
            b"$timescale 1 ns $end $var real 64 ! A $end $enddefinitions $end #0",
            "no variable of one",
        ),
        (b"$timescale 1 ns $end #0 0!", "before .enddefinitions"),
        (b"$timescale 1 s $end $var wire 1 ! A $end $enddefinitions $end #99999999999", "century"),
        (b"$comment " + b"x" * (1 << 20), "too large"),
        (b"\x1f\x8b\x08garbage", "cannot be read"),
    ],
)
def test_files_that_are_no_capture_are_refused(file: Path, content: bytes, message: str) -> None:
    with pytest.raises(CaptureError, match=rf"line\.vcd[\s\S]*{message}[\s\S]*Fix"):
        read(file, content)


def test_gzip_is_told_by_content(tmp_path: Path) -> None:
    zipped = tmp_path / "line.vcd"
    zipped.write_bytes(gzip.compress(SMALL))
    plain = read_vcd(CAPTURES / "rgbw_4leds_4mhz.vcd").waveforms["DATA"]
    assert np.array_equal(read_vcd(zipped).waveforms["DATA"].edges_ns, plain.edges_ns)
    zipped.write_bytes(gzip.compress(SMALL)[:-300])
    with pytest.raises(CaptureError, match="cannot be read"):
        read_vcd(zipped)
    wrong = tmp_path / "line.vcd.gz"
    wrong.write_bytes(SMALL)
    with pytest.raises(CaptureError, match="not gzipped"):
        read_vcd(wrong)
    for place in (tmp_path / "none.vcd", tmp_path):
        with pytest.raises(CaptureError, match=r"cannot be read[\s\S]*Fix"):
            read_vcd(place)


@pytest.mark.slow
def test_text_is_bounded(file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(vcd, "MOST_BYTES", len(SMALL) - 1000)
    with pytest.raises(CaptureError, match="too large"):
        read(file, gzip.compress(SMALL))
    monkeypatch.undo()
    with pytest.raises(CaptureError, match="over 4 MiB"):
        read(file, BEGIN.encode() + b"#0 $comment" + b" x" * (5 << 20))


@pytest.mark.parametrize("block", [40, 64, 100, 1 << 12])
def test_blocks_of_any_size_give_the_same(
    file: Path, monkeypatch: pytest.MonkeyPatch, block: int
) -> None:
    body = "#0 0! $comment 1! in a comment $end " + " ".join(
        f"#{10 * i}\nb{i % 2} !" if i % 3 else f"#{10 * i} {i % 2}!" for i in range(1, 60)
    )
    whole = edges(read(file, BEGIN + body))
    monkeypatch.setattr(vcd, "_BLOCK", block)
    assert edges(read(file, BEGIN + body)) == whole
    assert whole[0] == [10 * i for i in range(1, 60)]


@pytest.mark.slow
@pytest.mark.parametrize(
    "name", ["rgbw_4leds_4mhz.vcd", "rgb_24leds_4mhz.vcd", "rgb_4lines_5mhz.vcd"]
)
def test_reads_real_files_as_pyvcd_does(name: str) -> None:
    # pyvcd's tokenizer is an independent reader of the format.
    seen: dict[str, list[int]] = {}
    codes: dict[str, str] = {}
    level: dict[str, str] = {}
    now = 0
    for token in tokenize(io.BytesIO((CAPTURES / name).read_bytes())):
        if token.kind is TokenKind.VAR:
            codes[token.var.id_code] = token.var.reference
            seen[token.var.reference] = []
        elif token.kind is TokenKind.CHANGE_TIME:
            now = token.time_change
        elif token.kind is TokenKind.CHANGE_SCALAR:
            line, value = codes[token.scalar_change.id_code], token.scalar_change.value
            if level.get(line, value) != value:
                seen[line].append(now)
            level[line] = value
    lines = read_vcd(CAPTURES / name).waveforms
    assert {line: wave.edges_ns.tolist() for line, wave in lines.items()} == seen
    assert {wave.end_ns for wave in lines.values()} == {now}


@given(st.binary(max_size=300))
@on_files
def test_random_bytes_never_raise_anything_else(tmp_path: Path, junk: bytes) -> None:
    for content in (junk, b"\x1f\x8b\x08\x00" + junk, BEGIN.encode() + junk):
        try:
            read(tmp_path / "junk.vcd", content)
        except CaptureError as error:
            assert "Fix" in str(error)


@given(st.text(alphabet="01xbr#!$ \n9end", max_size=80))
@on_files
def test_text_that_is_nearly_right_never_raises_anything_else(tmp_path: Path, text: str) -> None:
    try:
        read(tmp_path / "junk.vcd", BEGIN + text)
    except CaptureError as error:
        assert "Fix" in str(error)


@given(st.data())
@on_files
def test_a_damaged_real_file_never_raises_anything_else(
    tmp_path: Path, data: st.DataObject
) -> None:
    content = bytearray(SMALL[: data.draw(st.integers(0, 2000), label="cut to")])
    for _ in range(data.draw(st.integers(0, 5), label="changes")):
        if content:
            place = data.draw(st.integers(0, len(content) - 1))
            content[place : place + data.draw(st.integers(0, 3))] = data.draw(st.binary(max_size=4))
    try:
        lines = read(tmp_path / "junk.vcd", bytes(content)).waveforms
    except CaptureError as error:
        assert "Fix" in str(error)
    else:
        assert all(line.start_ns <= line.end_ns for line in lines.values())
