"""Display programs written separately: they share no code with foreglow, except OWN.

Each speaks the serial protocol (emulator/ports/serial/README.md) or ANSI E1.31 with plain code of
its own.
"""

from __future__ import annotations

import sys

WALL = """
[grid]
columns = 4
rows = 3
[chip]
part = "WS2812B"
[wiring]
start = "top-left"
along = "rows"
path = "serpentine"
"""

_SERIAL = """
import json, sys, time

def crc(data):  # CRC-16/IBM-3740
    value = 0xFFFF
    for byte in data:
        value ^= byte << 8
        for _ in range(8):
            value = (value << 1 ^ 0x1021 if value & 0x8000 else value << 1) & 0xFFFF
    return value

def message(fields):
    plain = bytes(fields) + crc(bytes(fields)).to_bytes(2, "little")
    out, start = bytearray(), 0
    for i in range(len(plain) + 1):
        if i == len(plain) or plain[i] == 0:
            out += bytes([i - start + 1]) + plain[start:i]
            start = i + 1
    return bytes(out) + b"\\0"

port = open(sys.argv[1], "wb", buffering=0)
number = 0

def show(data):
    global number
    n = number.to_bytes(2, "little")
    count, check = len(data).to_bytes(4, "little"), crc(data).to_bytes(2, "little")
    latch = message(b"\\3" + n + count + check)
    port.write(b"\\0" + message(b"\\2" + n + b"\\0\\0\\0" + data) + latch)
    number = (number + 1) % 65536
"""

_PICTURE = """
def serpentine(request, order):
    rgb, columns = bytes.fromhex(request["rgb"]), request["columns"]
    out = b""
    for row in range(request["rows"]):
        cells = range(columns) if row % 2 == 0 or not TURNING else reversed(range(columns))
        for column in cells:
            at = 3 * (row * columns + column)
            out += bytes(rgb[at + i] for i in order)
    return out
"""

RIGHT = f"""{_SERIAL}{_PICTURE}
TURNING = True
for line in sys.stdin:
    show(serpentine(json.loads(line), (1, 0, 2)))
"""
PROGRESSIVE = RIGHT.replace("TURNING = True", "TURNING = False")
ONE_LATE = RIGHT.replace(
    "    show(serpentine(json.loads(line), (1, 0, 2)))",
    "    show(before if number else bytes(36)); before = serpentine(json.loads(line), (1, 0, 2))",
)
BYTES_OVER = RIGHT.replace("(1, 0, 2)))", "(1, 0, 2)) + b'123')")
LAST_CELLS = f"""{_SERIAL}
time.sleep(0.1)
show(bytes.fromhex(json.loads(sys.stdin.readline())["rgb"])[-36:])
sys.stdin.read()
"""
GARBAGE = f"{_SERIAL}\nfor line in sys.stdin:\n    port.write(b'hello' * 20 + bytes(3))\n"
SILENT = "import sys\nfor line in sys.stdin: pass\n"
EXITS = "import sys\nprint('no such wall')\nsys.exit(3)\n"
DIES_AT_SECOND = RIGHT.replace("    show(", "    if number: sys.exit(4)\n    show(")
LEAVES_A_CHILD = """
import subprocess, sys
open(sys.argv[2], "w").write(str(subprocess.Popen(["sleep", "1000"]).pid))
"""
OWN = f"""
import json, sys
sys.path[:0] = {sys.path!r}
import numpy as np
from pathlib import Path
from emulator import open_output, parse_display
with open_output("serial:" + sys.argv[1], parse_display({WALL!r}, Path("wall.toml"))) as output:
    for line in sys.stdin:
        r = json.loads(line)
        rgb = np.frombuffer(bytes.fromhex(r["rgb"]), np.uint8)
        output.send(rgb.reshape(r["rows"], r["columns"], 3))
"""
DEAF = """
import signal, subprocess, sys, time
child = subprocess.Popen(["sleep", "1000"])
signal.signal(signal.SIGTERM, signal.SIG_IGN)
open(sys.argv[2], "w").write(str(child.pid))
while True: time.sleep(0.01)
"""

E131 = f"""
import json, socket, struct, sys
{_PICTURE}
TURNING = True
host, _, port = sys.argv[1].partition(":")
end = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
for number, line in enumerate(sys.stdin):
    levels = serpentine(json.loads(line), (0, 1, 2))
    count = 1 + len(levels)  # ANSI E1.31-2018, tables 4-1 to 4-3
    dmp = struct.pack(">HBBHHHB", 0x7000 | 10 + count, 2, 0xA1, 0, 1, count, 0) + levels
    head = struct.pack(">I64sBHBBH", 2, b"test", 100, 0, number % 256, 0, 1)
    frame = struct.pack(">H", 0x7000 | 2 + len(head) + len(dmp)) + head + dmp
    root = struct.pack(">I16s", 4, bytes(range(16))) + frame
    end.sendto(
        struct.pack(">HH12sH", 16, 0, b"ASC-E1.17", 0x7000 | 2 + len(root)) + root,
        (host, int(port)),
    )
"""

STREAM_E131 = E131.replace(
    "enumerate(sys.stdin):",
    "enumerate(itertools.repeat(sys.stdin.readline())):\n    time.sleep(0.002)",
).replace("import json", "import itertools, json, time")

STREAM = f"""{_SERIAL}
while True:
    show(bytes([number % 200 + 1]) * 36)
    time.sleep(0.01)
"""

NODE = """
const fs = require("fs"), port = fs.openSync(process.argv[2], "w");
function crc(data) {
  let value = 0xffff;
  for (const byte of data) {
    value ^= byte << 8;
    for (let i = 0; i < 8; i++)
      value = (value & 0x8000 ? value << 1 ^ 0x1021 : value << 1) & 0xffff;
  }
  return [value & 255, value >> 8];
}
function message(fields) {
  const plain = [...fields, ...crc(fields)], out = [];
  let start = 0;
  for (let i = 0; i <= plain.length; i++)
    if (i === plain.length || plain[i] === 0) {
      out.push(i - start + 1, ...plain.slice(start, i));
      start = i + 1;
    }
  return [...out, 0];
}
let number = 0;
require("readline").createInterface({input: process.stdin}).on("line", line => {
  const request = JSON.parse(line), rgb = Buffer.from(request.rgb, "hex"), data = [];
  for (let row = 0; row < request.rows; row++)
    for (let k = 0; k < request.columns; k++) {
      const column = row % 2 ? request.columns - 1 - k : k;
      const at = 3 * (row * request.columns + column);
      data.push(rgb[at + 1], rgb[at], rgb[at + 2]);
    }
  const n = [number & 255, number >> 8];
  fs.writeSync(port, Buffer.from([0, ...message([2, ...n, 0, 0, 0, ...data]),
    ...message([3, ...n, data.length, 0, 0, 0, ...crc(data)])]));
  number = (number + 1) & 0xffff;
});
"""
