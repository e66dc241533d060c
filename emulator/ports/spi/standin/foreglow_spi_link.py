"""The way from a program under test to the foreglow that runs it: one connection an open device."""

import contextlib
import errno
import os
import socket
import struct
import threading
import time

PLACE = "FOREGLOW_SPI"  # environment: port and token of the foreglow that runs this program
MOST_BLOCK = 65535  # XFER3_MAX_BLOCK_SIZE of the library
OPENED = struct.Struct("<BBIIB")  # mode, bits a word, speed, bufsiz, whether to keep pace
REQUEST = struct.Struct("<cI")  # kind, bytes that follow
ANSWER = struct.Struct("<iqI")  # errno, when the transfer has ended, bytes that follow
TRANSFER = struct.Struct("<qIBI")  # not before, speed, bits a word, number of the call

block = {"size": 4096}  # of xfer3 and writebytes2: bufsiz, once a device has been opened
_local = threading.local()


def _now():
    """This thread's time in ns, without the time in which it waited for a processor."""
    if not hasattr(_local, "told"):
        try:
            _local.told = open("/proc/thread-self/schedstat", "rb", buffering=0)  # noqa: SIM115
        except OSError:
            _local.told = None
    waited = 0
    if _local.told is not None:
        with contextlib.suppress(OSError, ValueError, IndexError):
            waited = int(os.pread(_local.told.fileno(), 100, 0).split()[1])
    return time.monotonic_ns() - waited


class Link:
    """A connection to foreglow, for one open device."""

    def __init__(self, path):
        port, _, token = os.environ.get(PLACE, "").partition(" ")
        if not port:
            raise OSError(errno.ENOENT, os.strerror(errno.ENOENT))
        self.lock = threading.Lock()
        self.call = 0  # the last one
        try:
            self.socket = socket.create_connection(("127.0.0.1", int(port)))
            self.socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            told, _ = self.ask(b"O", token.encode() + b" " + path)
        except OSError:
            self.close()
            raise
        self.mode, self.bits, self.speed, bufsiz, self.pace = OPENED.unpack(told)
        block["size"] = min(bufsiz, MOST_BLOCK)

    def ask(self, kind, data):
        with self.lock:
            try:
                self.socket.sendall(REQUEST.pack(kind, len(data)) + data)
                number, end_ns, size = ANSWER.unpack(self._read(ANSWER.size))
                told = self._read(size)
            except (OSError, EOFError):
                raise OSError(errno.ENODEV, os.strerror(errno.ENODEV)) from None
        if number:
            raise OSError(number, os.strerror(number))
        return told, end_ns

    def _read(self, size):
        data = b""
        while len(data) < size:
            piece = self.socket.recv(size - len(data))
            if not piece:
                raise EOFError
            data += piece
        return data

    def transfer(self, data, speed, bits, call):
        """Put bytes on the wire; returns what came back. Takes as long as that does."""
        # This is the time of the wire: the time of foreglow's answer does not count.
        ahead = getattr(_local, "ahead", 0)
        begin = _now() + ahead
        # Pieces of one call follow as soon as the bus is free: the library is faster than this.
        first = call != self.call
        self.call = call
        told, end_ns = self.ask(b"T", TRANSFER.pack(begin * first, speed, bits, call) + data)
        left = end_ns - (_now() + ahead)
        if self.pace and left > 0:
            time.sleep(left / 1e9)
        _local.ahead = end_ns - _now()
        return told

    def close(self):
        if hasattr(self, "socket"):
            self.socket.close()
