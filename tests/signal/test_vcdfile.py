"""VCD files that foreglow writes, read by an independent reader and ours."""

from __future__ import annotations

import gzip
import itertools
from pathlib import Path
from typing import BinaryIO

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from vcd.reader import TokenKind, tokenize

from emulator.errors import CaptureError, WriteError
from emulator.signal.vcd import read_vcd
from emulator.signal.vcdfile import VcdFile, write_vcd
from emulator.signal.waveform import Waveform

on_files = settings(suppress_health_check=[HealthCheck.function_scoped_fixture])

waves = st.builds(
    lambda steps, first, start, tail, step: Waveform(
        start + step * np.cumsum(steps, dtype=np.int64),
        first,
        start,
        start + step * (sum(steps) + tail),
        step,
    ),
    st.lists(st.integers(1, 3000), max_size=20),
    st.booleans(),
    st.just(-500),
    st.integers(0, 1000),
    st.just(50),
)


def changes(line: Waveform) -> list[tuple[int, bool]]:
    """The level at the start, and each edge with the level after it."""
    times = [line.start_ns, *line.edges_ns.tolist()]
    return [(time, line.first_level ^ bool(i % 2)) for i, time in enumerate(times)]


def changes_by_pyvcd(stream: BinaryIO) -> dict[str, list[tuple[int, bool]]]:
    """The changes of every line as pyvcd's tokenizer finds them; times must rise."""
    names: dict[str, str] = {}
    found: dict[str, list[tuple[int, bool]]] = {}
    time = -1
    for token in tokenize(stream):
        if token.kind is TokenKind.VAR:
            names[token.var.id_code] = token.var.reference
            found[token.var.reference] = []
        elif token.kind is TokenKind.CHANGE_TIME:
            assert token.time_change > time, "a time twice, or out of order"
            time = token.time_change
        elif token.kind is TokenKind.CHANGE_SCALAR:
            change = token.scalar_change
            found[names[change.id_code]].append((time, change.value == "1"))
    return found


def test_a_hundred_lines_written_in_pieces_are_read_by_pyvcd(tmp_path: Path) -> None:
    """Codes of two letters, times of other lengths, and pieces that follow on from each other."""
    path = tmp_path / "a.vcd"
    rng = np.random.default_rng(4)
    ends = [0, 9, 10, 120, 99_999, 1_000_000]
    wanted: dict[str, list[tuple[int, bool]]] = {f"L{n}": [(0, n % 3 == 0)] for n in range(100)}
    file = VcdFile(path, {name: changed[0][1] for name, changed in wanted.items()})
    for begin, end in itertools.pairwise(ends):
        piece = {}
        for name, changed in wanted.items():
            edges_ns = np.unique(rng.integers(begin + 1, end + 1, 5))
            piece[name] = Waveform(edges_ns, changed[-1][1], begin, end)
            changed += changes(piece[name])[1:]
        file.add(piece)
    file.close()
    file.close()  # does nothing
    with path.open("rb") as stream:
        assert changes_by_pyvcd(stream) == wanted


def test_a_full_disk_leaves_nothing_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = VcdFile(tmp_path / "a.vcd", {"A": False})
    line = {"A": Waveform(np.array([5]), False, 0, 9)}
    with open("/dev/full", "wb", buffering=0) as full:  # full(4): every write fails
        monkeypatch.setattr(file, "_stream", full)
        with pytest.raises(WriteError, match=r"a\.vcd: cannot be written[\s\S]*Fix"):
            file.add(line)
    assert not list(tmp_path.iterdir())
    with pytest.raises(WriteError, match="writing has stopped"):
        file.add(line)
    file.close()
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("suffix", [".vcd", ".vcd.gz"])
@given(st.lists(waves, min_size=1, max_size=4))
@on_files
def test_what_is_written_is_read_back(tmp_path: Path, suffix: str, lines: list[Waveform]) -> None:
    path = tmp_path / f"out{suffix}"
    write_vcd(path, {f"OUT{i}": line for i, line in enumerate(lines)})
    back = read_vcd(path).waveforms
    assert list(back) == [f"OUT{i}" for i in range(len(lines))]
    for line, got in zip(lines, back.values(), strict=True):
        assert got.edges_ns.tolist() == (line.edges_ns + 500).tolist()  # begins at -500: moved to 0
        assert got.first_level == line.first_level
        assert (got.start_ns, got.resolution_ns) == (0, 50)
        assert got.end_ns == max(line.end_ns for line in lines) + 500
    assert path.read_bytes()[:2] == (b"\x1f\x8b" if suffix == ".vcd.gz" else b"$c")
    # pyvcd reads the same: an oracle of another hand, against our reader and writer both
    with gzip.open(path) if suffix == ".vcd.gz" else path.open("rb") as stream:
        assert changes_by_pyvcd(stream) == {
            f"OUT{i}": [(int(t) + 500, high) for t, high in changes(line)]
            for i, line in enumerate(lines)
        }
    assert [found.name for found in tmp_path.iterdir()] == [path.name]


def test_what_cannot_be_written_leaves_nothing_behind(tmp_path: Path) -> None:
    line = Waveform(np.array([5]), False, 0, 9)
    for path, lines in (
        (tmp_path / "a.vcd", {}),
        (tmp_path / "a.vcd", {"two words": line}),
        (tmp_path / "a.vcd", {"$end": line}),
    ):
        with pytest.raises(CaptureError, match=r"a\.vcd[\s\S]*Fix"):
            write_vcd(path, lines)
    (tmp_path / "file").touch()
    with pytest.raises(WriteError, match=r"a\.vcd[\s\S]*Fix"):
        write_vcd(tmp_path / "file" / "a.vcd", {"A": line})
    assert [path.name for path in tmp_path.iterdir()] == ["file"]
