"""LEDs at an emulated SPI device, against the time that the same frames take on the wire."""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np

import emulator
from emulator.ports.address import Address
from emulator.ports.spi.encoding import Encoding
from emulator.ports.spi.kernel import Bus, OpenDevice
from emulator.ports.spi.receiver import SpiReceiver
from emulator.ports.spi.server import SpiServer
from emulator.ports.spi.setup import read_wires
from emulator.signal.spi import Transfer
from tests.benchmarks.row import Row, best_s

FRAMES = 5  # a few ms, so that nothing disturbs some of the runs
RUNS = 100
WALL = 'grid = {columns = 24, rows = 24}\nchip = {part = "WS2812B"}\n'
WALL += 'wiring = {start = "top-left", along = "rows"}\n'


def emulated_row() -> Row:
    """Transfers become MOSI's waveform, are judged, decoded, searched for pitfalls and shown."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "wall.toml"
        path.write_text(WALL)
        display = emulator.load_display(path)
    wires = read_wires(Address.parse("spi:?bufsiz=65536"), display)
    rng = np.random.default_rng(1)
    data = [rng.integers(0, 256, 1728, dtype=np.uint8) for _ in range(FRAMES)]
    sent = [bytes(1) + Encoding(3, 1, 2).encode(one).tobytes() + bytes(20) for one in data]
    bench = emulator.Bench(display, keep=1)
    with SpiServer(wires, pace=False) as server:

        def work() -> int:
            receiver, device = (
                SpiReceiver(display, wires),
                OpenDevice(wires.devices[0], wires, Bus()),
            )
            device.set_hz(2_400_000)
            wire_ns = 0
            for one in sent:
                transfer = device.message(one, wire_ns)
                assert isinstance(transfer, Transfer)
                wire_ns = transfer.end_ns
                server.put((0,), transfer)
                for frame in receiver.take(server, 0):
                    bench.send_frame(frame)
            assert receiver.verdict == "pass"
            return wire_ns

        wire_s = work() / 1e9
        assert np.array_equal(bench.drives[:, display.chip.to_wire].ravel(), data[-1])
        return Row(
            "24 × 24 LEDs by SPI, 3 bits at 2.4 MHz",
            f"{wire_s / best_s(work, RUNS):.0f}× faster",
            "≥ 20×",
            "the same frames on the wire",
        )


def rows() -> list[Row]:
    """All rows of this module."""
    return [emulated_row()]
