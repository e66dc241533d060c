from __future__ import annotations

import os
import stat

import pytest

from emulator.errors import WriteError
from emulator.files import write_whole


def test_folders_are_made_and_the_file_is_whole(tmp_path):
    write_whole(tmp_path / "a" / "b.txt", "words")
    assert (tmp_path / "a" / "b.txt").read_text() == "words"
    assert os.listdir(tmp_path / "a") == ["b.txt"]


def test_a_file_that_is_there_is_kept_unless_it_may_be_replaced(tmp_path):
    path = tmp_path / "a.bin"
    write_whole(path, b"old")
    with pytest.raises(WriteError, match="exists and is left as it is"):
        write_whole(path, b"new", replace=False)
    assert path.read_bytes() == b"old"
    write_whole(path, b"new")
    assert path.read_bytes() == b"new"


def test_a_place_that_cannot_be_written_is_told_and_nothing_is_left(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(WriteError, match="cannot be written"):
        write_whole(tmp_path / "file" / "below.txt", "x")
    (tmp_path / "folder").mkdir()
    with pytest.raises(WriteError, match="cannot be written"):
        write_whole(tmp_path / "folder", "x")
    assert sorted(os.listdir(tmp_path)) == ["file", "folder"]


def test_a_pipe_or_device_is_not_replaced(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(WriteError, match="is not a file and is left as it is"):
        write_whole(tmp_path / "pipe", "words")
    assert stat.S_ISFIFO(os.stat(tmp_path / "pipe").st_mode)
    assert os.listdir(tmp_path) == ["pipe"]
