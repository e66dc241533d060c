"""Run by a test in a process of its own: makes calls of the module spidev, and prints what came.

Each line is JSON: the call, its result or its error, and the attributes afterwards.
"""

import array
import json
import re

import numpy as np
import spidev

NAMES = ("mode", "bits_per_word", "max_speed_hz", "cshigh", "threewire", "lsbfirst", "loop",
         "no_cs", "read0")  # fmt: skip


class Words(list):
    pass


class Pair(tuple):
    __slots__ = ()


class Sub(spidev.SpiDev):
    pass


class NotClosing:
    def __fspath__(self):
        return "/dev/spidev0.0"


# `s` is a SpiDev; a call without a result is a statement.
CALLS = """
s.fileno()
s.xfer([1])
s.xfer2([1, 2])
s.xfer3([1])
s.writebytes([1])
s.writebytes2([1])
s.writebytes2(b"")
s.readbytes(2)
s.writebytes([])
s.xfer([])
s.xfer3(())
s.writebytes2([])
s.xfer()
s.xfer([1], 2, 3, 4, 5)
s.xfer2()
s.xfer3()
s.writebytes()
s.writebytes([1], 2)
s.writebytes2()
s.readbytes()
s.readbytes("a")
s.readbytes(1.5)
s.xfer(5)
s.xfer2(None)
s.writebytes2(5)
s.writebytes("ab")
s.writebytes([1.5])
s.xfer(["a"])
s.xfer3([None])
s.writebytes2([0.5])
s.mode = 1
s.mode = 4
s.mode = -1
s.mode = "a"
s.mode = 1.0
s.mode = 256
del s.mode
s.bits_per_word = 8
s.bits_per_word = 7
s.bits_per_word = 33
s.bits_per_word = "a"
s.bits_per_word = 264
del s.bits_per_word
s.max_speed_hz = 0
s.max_speed_hz = 1000
s.max_speed_hz = 1e6
s.max_speed_hz = None
del s.max_speed_hz
s.cshigh = 1
s.threewire = 1
s.lsbfirst = None
s.loop = "a"
s.no_cs = 0
s.read0 = 1
s.read0 = True
s.read0 = False
s.cshigh = True
del s.cshigh
del s.read0
del s.threewire
s.speed = 5
s.close()
s.close(1)
s.open()
s.open(0)
s.open("a", 0)
s.open(0, 0, 0)
s.open(bus=0)
s.open(0, client=1)
s.open(0, 0, device=0)
s.open(1.0, 0)
s.open(1 << 40, 0)
s.open(9, 9)
s.open(bus=9, device=9)
s.open_path()
s.open_path(5)
s.open_path("/nowhere/spidev")
s.open_path(path="/nowhere/spidev")
s.open_path("a\\0b")
spidev.SpiDev(0)
spidev.SpiDev(9, 9)
spidev.SpiDev(-1, 5).mode
spidev.SpiDev("a")
spidev.SpiDev(0, 0, 0)
spidev.SpiDev(bus=0, client=0)
spidev.SpiDev(bus=-1).fileno()
spidev.SpiDev(wheel=1)
s.__enter__() is s
s.__enter__(1)
s.__exit__(1)
s.__exit__(None, None, None)
s.open(0, 0)
s.fileno() >= 0
s.max_speed_hz = 2400000
s.max_speed_hz = 4000000000
s.max_speed_hz = 0
s.max_speed_hz = (1 << 32) + 5000
s.max_speed_hz = 2400000
s.mode = 3
s.mode = 0b01
s.mode = True
s.mode = 0
s.cshigh = True
s.no_cs = True
s.threewire = True
s.mode = 2
s.lsbfirst = True
s.loop = True
s.no_cs = False
s.cshigh = False
s.threewire = False
s.mode = 0
s.bits_per_word = 16
s.bits_per_word = 8
s.xfer([1, 2, 300, -1])
s.xfer2((1, 2))
s.xfer3([1, 2])
s.xfer(b"ab")
s.xfer2(bytearray(b"ab"))
s.xfer2(Words([1, 2]))
s.xfer2(Pair((1, 2)))
s.xfer3(Pair((1, 2)))
s.xfer(range(3))
s.xfer({7: 8})
s.xfer(iter([1, 2]))
s.xfer([True, False])
s.xfer2([1], 1000000)
s.xfer2([1], 1000000, 7)
s.xfer2([1], 1000000, 7, 8)
s.xfer2([1], 1000000, 7, 16)
s.xfer2([1], 0, 0, 0)
s.xfer2([1], 1e6)
s.xfer2([1], "a")
s.xfer2([1], 1, 1.5)
s.xfer2([1], 1 << 33)
s.xfer3([1], -1)
s.xfer2([1], 1000, 70000, 256 + 8)
s.writebytes([1, 2, 3])
s.writebytes((4, 5))
s.writebytes(b"xyz")
s.writebytes(array.array("B", [1, 2]))
s.writebytes([1] * 4096)
s.writebytes([1] * 4097)
s.xfer([1] * 4097)
s.xfer2([1] * 4097)
s.xfer2([1] * 65536)
s.xfer2([5] * 65539)[:5]
s.writebytes([6] * 65538)
len(s.xfer3([2] * 5184))
s.writebytes2([3] * 5184)
s.writebytes2(bytes(9000))
s.writebytes2(b"")
s.writebytes2(bytearray(b"ab"))
s.writebytes2(memoryview(b"abcd"))
s.writebytes2(memoryview(b"abcd")[::2])
s.writebytes2(array.array("H", [1, 258]))
s.writebytes2(np.arange(6, dtype=np.uint8))
s.writebytes2(np.arange(6, dtype=np.uint8).reshape(2, 3))
s.writebytes2(np.arange(6, dtype=np.uint8)[::2])
s.writebytes2(np.arange(3, dtype=np.uint16))
s.writebytes(np.arange(6, dtype=np.uint8))
s.xfer2(np.arange(6, dtype=np.uint8).tolist())
s.fileno(1)
s.writebytes2((1, 2))
s.writebytes2(range(4))
s.writebytes2([1] * 100 + ["a"])
s.writebytes2([1] * 5000 + ["a"])
s.readbytes(3)
s.readbytes(0)
s.readbytes(-5)
len(s.readbytes(5000))
s.readbytes(1 << 40)
x = [9, 8, 7]
s.xfer(x) is x
x
x = [9, 8, 7]
s.xfer2(x) is x
s.xfer3(x)
x
x = Words([1, 2])
s.xfer(x) is x
x
type(s.xfer(Pair((1, 2)))).__name__
type(s.xfer3([1])).__name__
type(s.xfer((1,))).__name__
s.fileno() < 0
s.close()
s.fileno()
s.writebytes([1])
s.close()
s.open_path("/dev/spidev0.0")
s.writebytes([1])
s.open_path(b"/dev/spidev0.0")
s.open_path(NotClosing())
s.writebytes([2])
s.close()
t = Sub()
t.extra = 5
t.open(0, 0)
t.writebytes([3])
t.close()
t = spidev.SpiDev(0, 0)
t.max_speed_hz
t.writebytes([4])
t.close()
isinstance(t, spidev.SpiDev)
spidev.__version__
type(t).__name__
type(t).__module__
sorted(n for n in dir(spidev.SpiDev) if not n.startswith("_"))
[n for n in ("mode", "xfer") if callable(getattr(s, n))]
"""


def attributes(one):
    return [getattr(one, name) for name in NAMES]


def main():
    names = {"array": array, "np": np, "spidev": spidev}
    space = {**globals(), **names, "s": spidev.SpiDev()}
    for call in CALLS.strip().splitlines():
        try:
            try:
                code = compile(call, "call", "eval")
                result = repr(eval(code, space))
            except SyntaxError:
                result = repr(exec(call, space))
        except Exception as error:
            said = re.sub(r"(arguments: |at 0x)[0-9a-f]+", r"\1#", str(error))
            result = f"{type(error).__name__}: {said}"
        print(json.dumps([call, result, attributes(space["s"])]))


if __name__ == "__main__":
    main()
