"""The emulated spidev against the library itself, version 3.8, call by call.

The library runs on a device that does not exist: fake_kernel.c, written for this, answers its
system calls. It reports the bytes of each transfer, with speed, mode and bits a word.
"""

from __future__ import annotations

import importlib.util
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import emulator
from emulator.ports.address import Address
from emulator.ports.spi.server import SpiServer
from emulator.ports.spi.setup import read_wires

HERE = Path(__file__).parent / "spidev"

pytestmark = [
    pytest.mark.skipif(
        importlib.util.find_spec("spidev") is None, reason="spidev: pip install 'foreglow[spi]'"
    ),
    pytest.mark.skipif(shutil.which("gcc") is None, reason="gcc builds the device"),
]


def told(environment):
    done = subprocess.run(
        [sys.executable, str(HERE / "calls.py")],
        env={**os.environ, **environment},
        capture_output=True,
        text=True,
        check=True,
        timeout=120,
    )
    return [json.loads(line) for line in done.stdout.splitlines()]


@pytest.fixture(scope="module")
def real(tmp_path_factory):
    """What the library answers, and what it sent."""
    folder = tmp_path_factory.mktemp("spidev")
    shared = folder / "fake_kernel.so"
    source = HERE / "fake_kernel.c"
    subprocess.run(
        ["gcc", "-shared", "-fPIC", "-O1", "-Wall", "-o", str(shared), str(source), "-ldl"],
        check=True,
    )
    log = folder / "log"
    log.touch()
    answers = told({"LD_PRELOAD": str(shared), "FAKE_LOG": str(log)})
    return answers, log.read_text().splitlines()


@pytest.fixture(scope="module")
def ours():
    """The same for the emulated one."""
    wires = read_wires(Address.parse("spi:"), emulator.load_display("banner"))
    with SpiServer(wires, pace=False) as server:
        answers = told(server.environment)
        sent = []
        while (came := server.take(0)) is not None:
            one = came[1]
            sent.append(f"{one.asked_hz} {one.mode} {one.bits_per_word} {one.data.tobytes().hex()}")
    return answers, sent


def test_every_call_gives_the_same_result_error_and_attributes(real, ours):
    assert len(real[0]) == len(ours[0]) > 150
    differing = [(a, b) for a, b in zip(real[0], ours[0], strict=True) if a != b]
    assert not differing


def test_the_same_bytes_leave_at_the_same_settings(real, ours):
    assert [len(line) for line in real[1]] == [len(line) for line in ours[1]]
    assert real[1] == ours[1]
