"""The server of the stand-in for spidev: takes what programs send to the devices they open."""

from __future__ import annotations

import contextlib
import errno
import json
import os
import queue
import secrets
import socket
import threading
from collections import Counter
from pathlib import Path

from emulator.closing import Closing
from emulator.ports.spi.kernel import Bus, OpenDevice
from emulator.ports.spi.setup import Wires, device_of
from emulator.ports.spi.standin.foreglow_spi_link import ANSWER, OPENED, PLACE, REQUEST, TRANSFER
from emulator.signal.spi import Transfer

_STANDIN = Path(__file__).with_name("standin")
_MOST_QUEUED = 4096  # transfers that wait to be taken; with more, the program must wait
_MOST_BYTES = 1 << 25  # of a request
_MOST_TOLD = 64  # different refused calls that are reported


class SpiServer(Closing):
    """Takes what programs send through the stand-in, in threads, so that answers come at once.

    environment: the variables that a program needs to find the stand-in. refused: calls that the
    library or the kernel refused, as (call, value, why), with how often. missing: opened devices
    that do not exist. opened: how many devices were opened. pace: let a transfer take as long as it
    does on the wire.
    """

    def __init__(self, wires: Wires, pace: bool) -> None:
        self._wires, self._pace = wires, pace
        self._buses = {device.bus: Bus() for device in wires.devices}
        self._came: queue.Queue[tuple[tuple[int, ...], Transfer]] = queue.Queue(_MOST_QUEUED)
        self.refused: Counter[tuple[str, str, str]] = Counter()
        self.missing: set[str] = set()
        self.opened = 0
        self._token = secrets.token_hex(16)
        self._closed = False
        self._listening = socket.create_server(("127.0.0.1", 0))
        self._connections: set[socket.socket] = set()
        paths = [str(_STANDIN), *filter(None, [os.environ.get("PYTHONPATH")])]
        self.environment = {
            PLACE: f"{self._listening.getsockname()[1]} {self._token}",
            "PYTHONPATH": os.pathsep.join(paths),
        }
        threading.Thread(target=self._accept, daemon=True).start()

    def take(self, seconds: float) -> tuple[tuple[int, ...], Transfer] | None:
        """The lines that get the next transfer, and the transfer; None if none comes in time."""
        try:
            return self._came.get(timeout=seconds) if seconds else self._came.get_nowait()
        except queue.Empty:
            return None

    def put(self, lines: tuple[int, ...], transfer: Transfer) -> None:
        """Give a transfer to lines; waits if too many transfers are waiting."""
        while not self._closed:
            with contextlib.suppress(queue.Full):
                self._came.put((lines, transfer), timeout=0.1)
                return

    def close(self) -> None:
        """Close all connections; a program that continues gets ENODEV. Can be called twice."""
        self._closed = True
        for one in (self._listening, *self._connections):
            with contextlib.suppress(OSError):
                one.shutdown(socket.SHUT_RDWR)
            one.close()

    def _accept(self) -> None:
        while not self._closed:
            try:
                connection, _ = self._listening.accept()
            except OSError:
                return
            self._connections.add(connection)
            threading.Thread(target=self._serve, args=(connection,), daemon=True).start()

    def _serve(self, connection: socket.socket) -> None:
        with contextlib.suppress(OSError, EOFError), connection:
            connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            kind, data = _read(connection)
            token, _, path = data.partition(b" ")
            if kind != b"O" or not secrets.compare_digest(token, self._token.encode()):
                return
            found = self._open(os.fsdecode(path))
            if found is None:
                connection.sendall(ANSWER.pack(errno.ENOENT, 0, 0))
                return
            device, lines = found
            told = OPENED.pack(
                device.mode, device.bits_per_word, device.hz, self._wires.bufsiz, self._pace
            )
            connection.sendall(ANSWER.pack(0, 0, len(told)) + told)
            while True:
                connection.sendall(self._answer(device, lines, *_read(connection)))
        self._connections.discard(connection)

    def _open(self, path: str) -> tuple[OpenDevice, tuple[int, ...]] | None:
        """The device of a path, and the lines at its pins; None if there is no such device."""
        devices = self._wires.devices
        device = device_of(path)
        if device is None and len(devices) == 1 and path.startswith("/dev/spi"):
            device = devices[0]  # a link, as udev makes them: it can only mean this device
        lines = tuple(n for n, one in enumerate(devices) if device is not None and one == device)
        if device is not None and not lines and not self._wires.gated:
            lines = tuple(n for n, one in enumerate(devices) if one.bus == device.bus)
        if device is None or device.bus not in self._buses or not lines:
            self.missing.add(path)
            return None
        self.opened += 1
        return OpenDevice(device, self._wires, self._buses[device.bus]), lines

    def _answer(
        self, device: OpenDevice, lines: tuple[int, ...], kind: bytes, data: bytes
    ) -> bytes:
        if kind == b"T":
            begin_ns, hz, bits, call = TRANSFER.unpack_from(data)
            sent = device.message(data[TRANSFER.size :], begin_ns, hz, bits, call)
            if isinstance(sent, int):
                return ANSWER.pack(sent, 0, 0)
            self.put(lines, sent)
            came = bytes(sent.data.size)  # nothing is connected to MISO, which reads as 0
            return ANSWER.pack(0, sent.end_ns, len(came)) + came
        number = 0
        if kind == b"M":
            number = device.set_mode(data[0])
        elif kind == b"B":
            number = device.set_bits_per_word(data[0])
        elif kind == b"S":
            number = device.set_hz(int.from_bytes(data[:4], "little"))
        elif kind == b"R":
            call, value, why = json.loads(data)
            if len(self.refused) < _MOST_TOLD:
                self.refused[str(call), str(value), str(why)] += 1
        return ANSWER.pack(number, 0, 0)


def _read(connection: socket.socket) -> tuple[bytes, bytes]:
    """The next request: its kind and its bytes. Raises EOFError at the end."""
    kind, size = REQUEST.unpack(_exactly(connection, REQUEST.size))
    if size > _MOST_BYTES:
        raise EOFError
    return kind, _exactly(connection, size)


def _exactly(connection: socket.socket, size: int) -> bytes:
    data = bytearray()
    while len(data) < size:
        piece = connection.recv(size - len(data))
        if not piece:
            raise EOFError
        data += piece
    return bytes(data)
