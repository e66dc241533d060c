"""This module replaces spidev in a program that foreglow runs: its bytes go to emulated LEDs.

Attributes, results and errors are those of version 3.8 of the library of this name. It needs only
the standard library, and runs in the program's own process and Python, 3.7 or later.
"""

import errno as _errno
import itertools as _itertools
import json as _json
import os as _os
import struct as _struct

from foreglow_spi_arguments import as_bytes as _as_bytes
from foreglow_spi_arguments import counted as _counted
from foreglow_spi_arguments import named as _named
from foreglow_spi_arguments import options as _options
from foreglow_spi_arguments import sequence as _sequence
from foreglow_spi_arguments import whole as _whole
from foreglow_spi_link import Link as _Link
from foreglow_spi_link import block as _block

__version__ = "3.8"

_MOST = 4096  # SPIDEV_MAXPATH of the library: the longest list for writebytes, xfer and xfer2
_CPHA_CPOL, _CS_HIGH, _LSB_FIRST, _3WIRE, _LOOP, _NO_CS = 0x03, 0x04, 0x08, 0x10, 0x20, 0x40
_EMPTY = "Empty argument list."
_NO_DELETE = "Cannot delete attribute"
_calls = _itertools.count(1)


def _beyond(name):
    raise SystemError(
        f"<method '{name}' of 'SpiDev' objects> returned a result with an exception set"
    )


def _name_of(error):
    return _errno.errorcode.get(error.errno or 0, str(error.errno))


def _none(name, args):
    if args:
        raise TypeError(f"SpiDev.{name}() takes no arguments ({len(args)} given)")


def _next_call():
    return next(_calls) & 0xFFFFFFFF


class SpiDev:
    """SpiDev([bus],[client]) -> SPI

    Return a new SPI object that is (optionally) connected to the
    specified SPI device interface.
    """

    __module__ = "builtins"
    __slots__ = ("_bits", "_link", "_mode", "_read0", "_speed")

    def __new__(cls, *args, **kwargs):
        self = object.__new__(cls)
        self._link, self._read0 = None, False
        self._mode = self._bits = self._speed = 0
        return self

    def __init__(self, *args, **kwargs):
        bus, client = _named("__init__", ("bus", "client"), args, kwargs, 0)
        if client is not None:
            _whole(client)
        if bus is not None and _whole(bus) >= 0:
            self.open(*args, **kwargs)

    def open(self, *args, **kwargs):
        """open(bus, device)

        Connects the object to the specified SPI device.
        open(X,Y) will open /dev/spidev<X>.<Y>
        """
        bus, device = _named("open", ("bus", "device"), args, kwargs, 2)
        self._connect(b"/dev/spidev%d.%d" % (_whole(bus), _whole(device)))

    def open_path(self, *args, **kwargs):
        """open_path(spidev_path)

        Connects the object to the specified SPI device.
        open_path(X) will open the spidev character device <X>.
        """
        (path,) = _named("open", ("path",), args, kwargs, 1)
        name = _os.fsencode(path)
        if b"\0" in name:
            raise ValueError("embedded null byte")
        self._connect(name)

    def _connect(self, path):
        self._link = None
        link = _Link(path)
        self._link, self._mode, self._bits, self._speed = link, link.mode, link.bits, link.speed

    def close(self, *args):
        """close()

        Disconnects the object from the interface.
        """
        _none("close", args)
        link, self._link = self._link, None
        self._mode = self._bits = self._speed = 0
        if link is not None:
            link.close()

    def __del__(self):
        link = getattr(self, "_link", None)
        if link is not None:
            link.close()

    def __enter__(self, *args):
        _counted("", args, 0, 0)
        return self

    def __exit__(self, *args):
        if len(args) != 3:
            raise TypeError(f"__exit__ expected 3 arguments, got {len(args)}")
        self.close()
        return False

    def fileno(self, *args):
        """fileno() -> integer "file descriptor"

        This is needed for lower-level file interfaces, such as os.read().
        """
        _none("fileno", args)
        return -1 if self._link is None else self._link.socket.fileno()

    def readbytes(self, *args):
        """read(len) -> [values]

        Read len bytes from SPI device.
        """
        _counted("read", args, 1, 1)
        size = min(max(_whole(args[0]), 1), _MOST)
        return list(self._send("readbytes", bytes(size), 0, 0, _next_call()))

    def writebytes(self, *args):
        """write([values]) -> None

        Write bytes to SPI device.
        """
        _counted("write", args, 1, 1)
        data, beyond = _as_bytes(self._list("writebytes", _sequence(args[0])))
        self._send("writebytes", data, 0, 0, _next_call())
        if beyond:
            _beyond("writebytes")

    def writebytes2(self, *args):
        """writebytes2([values]) -> None

        Write bytes to SPI device.
        values must be a list or buffer.
        """
        _counted("writebytes2", args, 1, 1)
        beyond = False
        try:
            view = memoryview(args[0])
        except TypeError:
            view = None
        if view is not None and not view.c_contiguous:  # the library leaves an error behind
            if not isinstance(args[0], memoryview):
                iterator = f"<built-in method __length_hint__ of iterator object at {id(args):#x}>"
                raise SystemError(f"{iterator} returned a result with an exception set")
            view = None
        values = _sequence(args[0]) if view is None else view.tobytes()
        if view is None and not values:
            raise TypeError(_EMPTY)
        call, block = _next_call(), _block["size"]
        for begin in range(0, len(values), block):
            piece = values[begin : begin + block]
            data, over = (piece, False) if view is not None else _as_bytes(piece)
            beyond = beyond or over
            self._send("writebytes2", data, 0, 0, call)
        if beyond:
            _beyond("writebytes2")

    def xfer(self, *args):
        """xfer([values]) -> [values]

        Perform SPI transaction.
        CS will be released and reactivated between blocks.
        delay specifies delay in usec between blocks.
        """
        return self._transfer("xfer", args)

    def xfer2(self, *args):
        """xfer2([values]) -> [values]

        Perform SPI transaction.
        CS will be held active between blocks.
        """
        return self._transfer("xfer2", args)

    def xfer3(self, *args):
        """xfer3([values]) -> [values]

        Perform SPI transaction. Accepts input of arbitrary size.
        Large blocks will be send as multiple transactions
        CS will be held active between blocks.
        """
        speed, bits = _options("xfer3", args)
        values = _sequence(args[0])
        if not values:
            raise TypeError(_EMPTY)
        call, block, came, beyond = _next_call(), _block["size"], b"", False
        for begin in range(0, len(values), block):
            data, over = _as_bytes(values[begin : begin + block])
            beyond = beyond or over
            came += self._send("xfer3", data, speed or self._speed, bits or self._bits, call)
        if beyond:
            _beyond("xfer3")
        return tuple(came)

    def _transfer(self, name, args):
        speed, bits = _options(name, args)
        values = _sequence(args[0])
        taken = self._list(name, values)
        data, beyond = _as_bytes(taken)
        if isinstance(args[0], tuple):
            values = list(values)
        came = self._send(name, data, speed or self._speed, bits or self._bits, _next_call())
        values[: len(came)] = came  # as the library does: the caller's own list, too
        if beyond:
            _beyond(name)
        return tuple(values) if isinstance(args[0], tuple) else values

    def _list(self, name, values):
        """The values that go out: the library counts them in 16 bits."""
        size = len(values) & 0xFFFF
        if not size:
            raise TypeError(_EMPTY)
        if size > _MOST:
            self._tell(name, size, "OverflowError")
            raise OverflowError(f"Argument list size exceeds {_MOST} bytes.")
        if size < len(values):
            self._tell(name, len(values), "wrapped")
        return values[:size]

    def _send(self, name, data, speed, bits, call):
        if self._link is None:
            raise OSError(_errno.EBADF, _os.strerror(_errno.EBADF))
        try:
            return self._link.transfer(data, speed, bits, call)
        except OSError as error:
            if error.errno != _errno.ENODEV:
                self._tell(name, len(data), _name_of(error))
            raise

    def _tell(self, name, value, why):
        """Have foreglow's report name a call that was refused."""
        if self._link is not None:
            self._link.ask(b"R", _json.dumps([name, value, why]).encode())

    def _ask(self, name, kind, data, value):
        if self._link is None:
            raise OSError(_errno.EBADF, _os.strerror(_errno.EBADF))
        try:
            self._link.ask(kind, data)
        except OSError as error:
            if error.errno != _errno.ENODEV:
                self._tell(name, value, _name_of(error))
            raise

    def _set_flag(self, name, flag, value, known=""):
        if not isinstance(value, bool):
            raise TypeError(f"The {known or name} attribute must be boolean")
        mode = self._mode | flag if value else self._mode & ~flag
        self._ask(name, b"M", bytes([mode]), value)
        self._mode = mode

    @property
    def mode(self):
        """SPI mode as two bit pattern of
        Clock Polarity  and Phase [CPOL|CPHA]
        min: 0b00 = 0 max: 0b11 = 3
        """
        return self._mode & _CPHA_CPOL

    @mode.setter
    def mode(self, value):
        if not isinstance(value, int):
            raise TypeError("The mode attribute must be an integer")
        if value & 0xFF > 3:
            raise TypeError("The mode attribute must be an integerbetween 0 and 3.")
        mode = self._mode & ~_CPHA_CPOL | value & 0xFF
        self._ask("mode", b"M", bytes([mode]), value)
        self._mode = mode

    @mode.deleter
    def mode(self):
        raise TypeError(_NO_DELETE)

    @property
    def bits_per_word(self):
        """bits per word"""
        return self._bits

    @bits_per_word.setter
    def bits_per_word(self, value):
        if not isinstance(value, int):
            raise TypeError("The bits_per_word attribute must be an integer")
        bits = value & 0xFF
        if not 8 <= bits <= 32:
            raise TypeError("invalid bits_per_word (8 to 32)")
        if bits != self._bits:
            self._ask("bits_per_word", b"B", bytes([bits]), value)
            self._bits = bits

    @bits_per_word.deleter
    def bits_per_word(self):
        raise TypeError(_NO_DELETE)

    @property
    def max_speed_hz(self):
        """maximum speed in Hz"""
        return self._speed - (1 << 32) if self._speed >> 31 else self._speed  # as the library's int

    @max_speed_hz.setter
    def max_speed_hz(self, value):
        if not isinstance(value, int):
            raise TypeError("The max_speed_hz attribute must be an integer")
        speed = value & 0xFFFFFFFF
        if speed != self._speed:
            self._ask("max_speed_hz", b"S", _struct.pack("<I", speed), value)
            self._speed = speed

    @max_speed_hz.deleter
    def max_speed_hz(self):
        raise TypeError(_NO_DELETE)

    @property
    def read0(self):
        """Read 0 bytes after transfer to lower CS if cshigh == True"""
        return self._read0

    @read0.setter
    def read0(self, value):
        if not isinstance(value, bool):
            raise TypeError("The read0 attribute must be boolean")
        self._read0 = value

    @read0.deleter
    def read0(self):
        raise TypeError(_NO_DELETE)


def _flag(name, flag, about, known=""):
    """An attribute that is one bit of the mode."""

    def got(self):
        return bool(self._mode & flag)

    def put(self, value):
        self._set_flag(name, flag, value, known)

    def gone(self):
        raise TypeError(_NO_DELETE)

    setattr(SpiDev, name, property(got, put, gone, about))


_flag("cshigh", _CS_HIGH, "CS active high\n")
_flag("threewire", _3WIRE, "SI/SO signals shared\n", "3wire")
_flag("lsbfirst", _LSB_FIRST, "LSB first\n")
_flag("loop", _LOOP, "loopback configuration\n")
_flag("no_cs", _NO_CS, "disable chip select\n")
