"""Walls over which `foreglow firmware` is asked: fits or not, pins, speeds; a few built and run.

What fits: the frame (LEDs × channels, as on the LED wire) and a message of 254 bytes
(`emulator/ports/serial/README.md`) must fit the RAM of the controller (ATmega328P, 1284P and 2560
datasheets: 2, 16 and 8 KiB; 32, 128 and 256 KiB of flash). Between surely too much and surely
enough only avr-size decides. The link takes ten bits a byte, the LED lines the nominal bits of the
datasheets, one line after the other.
"""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import sys
import time
import tty
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from tests.outside.generated.run import ENTRY, ROOT
from tests.outside.generated_physical.run import folder, foreglow
from tests.outside.generated_use.board import DATA, HELLO, LATCH, crc, message
from tests.outside.generated_ways.cases import Case
from tests.outside.generated_ways.walls import NOMINAL_US, ONE_WIRE, Hiding, Wall, draw

SEED = 1304
RAM = {"ATmega328P": 2048, "ATmega1284P": 16384, "ATmega2560": 8192}
FLASH = {"ATmega328P": 32768, "ATmega1284P": 131072, "ATmega2560": 262144}
SURELY = 1000  # bytes of RAM for all but the frame: enough (their 60 LEDs take 559 with the frame)
NEEDED = ("avr-gcc", "avr-size", "make", "gcc")
HEADER = Path("/usr/include/simavr/sim_avr.h")


def missing() -> str:
    """What is not installed here, to build and run a firmware; "" if nothing."""
    gone = [name for name in NEEDED if not shutil.which(name)]
    return " ".join(gone if HEADER.is_file() else [*gone, "libsimavr-dev"])


def big(
    part: str, columns: int, rows: int, lines: int = 1, extra: str = "", chip: str = ""
) -> Wall:
    """A wall of this size."""
    rng = np.random.default_rng(columns * rows)
    wall = draw(rng, part=part, style="words", size=(columns, rows), lines=lines, linear=True,
                extra=extra)  # fmt: skip
    toml = wall.toml.replace("[chip]\n", f"[chip]\n{chip}")
    return Wall(**(wall.__dict__ | {"toml": toml})) if chip else wall


def payload(wall: Wall) -> list[int]:
    """Bytes of each line, as on the LED wire."""
    return [len(b) for b in wall.payload(np.zeros((wall.leds, 3), int))]


def link_bytes(wall: Wall) -> tuple[int, int]:
    """Least and most bytes of a frame on the link: COBS, data of at most 246, a latch."""
    sizes = payload(wall)
    messages = sum(max(1, -(-n // 246)) for n in sizes)
    whole = sum(sizes) + messages * (8 + 2) + 11 + 2
    return whole, whole + messages + 2  # a 0 before it, full blocks


def ask(wall: Wall, *arguments: str) -> tuple[int, str, Path]:
    """Exit status and what was said; in a folder that the caller made."""
    Path("wall.toml").write_text(wall.toml)
    for name, text in wall.files.items():
        Path(name).write_text(text)
    answer = foreglow("firmware", "wall.toml", "-o", "fw", *arguments)
    return answer.status, re.sub(r"\s+", " ", answer.out + answer.err), Path("fw")


def said_lies(wall: Wall, said: str, part: str, baud: int | None) -> list[str]:
    """What the plan says, against our own count."""
    lies = []
    memory = re.search(r"(\d+) of (\d+) bytes of flash and (\d+) of (\d+) bytes of RAM", said)
    if not memory:
        return ["no figures of memory"]
    flash, flash_of, ram, ram_of = map(int, memory.groups())
    if (flash_of, ram_of) != (FLASH[part], RAM[part]) or flash > flash_of or ram > ram_of:
        lies.append(f"{part} has {FLASH[part]} and {RAM[part]} bytes: {memory[0]}")
    if ram < sum(payload(wall)) + 254:
        lies.append(f"the frame alone takes {sum(payload(wall))} bytes, a message 254: {memory[0]}")
    link = re.search(r"takes (\d+) bytes, ([\d.]+) ms, at (\d+) baud, then ([\d.]+) ms", said)
    if not link:
        return [*lies, "no figures of the link"]
    count, ms, at, wire_ms = int(link[1]), float(link[2]), int(link[3]), float(link[4])
    least, most = link_bytes(wall)
    if not least <= count <= most:
        lies.append(f"{least} to {most} bytes on the link, not {count}")
    if baud and at != baud:
        lies.append(f"{baud} baud asked, {at} said")
    if abs(ms - count * 1e4 / at) > 0.02 * ms + 0.01:
        lies.append(f"{count} bytes at {at} baud take {count * 1e4 / at:.3f} ms, not {ms}")
    if wall.part in NOMINAL_US:
        data = sum(payload(wall)) * 8 * NOMINAL_US[wall.part] / 1e3
        rest = ONE_WIRE[wall.part][4] / 1e3
        if not 0.9 * data <= wire_ms <= 1.25 * data + 1.3 * rest * wall.lines + 0.02 * wall.lines:
            lies.append(f"the lines take {data:.3f} ms and a rest of {rest} ms, not {wire_ms}")
    rate = re.search(r"at most ([\d.,]+) frames/s", said)
    fastest = 1e3 / (ms + wire_ms)
    if not rate or not 0.5 * fastest <= float(rate[1].replace(",", "")) <= 1.02 * fastest:
        lies.append(f"at most {fastest:.1f} frames/s, said: {rate and rate[0]}")
    return lies


def _fits(wall: Wall, part: str, mhz: int, fits: bool, truth: str, *more: str,
          named: str = "RAM|bytes") -> Case:  # fmt: skip
    baud = int(more[more.index("--baud") + 1]) if "--baud" in more else None

    def own(case: Case) -> tuple[bool, bool, list[str], str]:
        with folder():
            status, said, made = ask(wall, "--controller", part, "--mhz", str(mhz), *more)
            files = sorted(made.iterdir()) if made.exists() else []
        lies = []
        if fits:
            lies = said_lies(wall, said, part, baud)
            if status or not files:
                lies = [f"it fits, exit {status}"]
        elif files:
            lies = ["files although it does not fit"]
        if "Traceback" in said:
            lies.append("it fell")
        return status == (0 if fits else 2), fits or bool(re.search(named, said)), lies, said

    return Case("fits" if fits else "does not fit", wall, truth, own=own, quiet=fits)


def _memory(rng: np.random.Generator) -> list[Case]:
    made = []
    for n in range(18):
        part = list(RAM)[n % 3]
        chip = ["WS2812B", "SK6812-RGBW", "WS2811-LOW", "APA102", "SK6812", "LPD8806"][n % 6]
        channels = 4 if chip in ("SK6812-RGBW", "APA102") else 3
        fits = n % 2 == 0
        room = RAM[part] - SURELY - 80 if fits else RAM[part] - 254
        share = rng.uniform(0.2, 0.95) if fits else rng.uniform(1.02, 2)
        leds = max(4, int(room * share / channels))
        columns = int(rng.integers(8, 33))
        rows = max(1, leds // columns) + (0 if fits else 1)
        if rows < 1 or (columns * rows * channels > RAM[part] - SURELY and fits):
            rows = max(1, rows - 1)
        lines = int(rng.choice([k for k in (1, 2, 3) if rows % k == 0]))
        wall = big(chip, columns, rows, lines)
        total = sum(payload(wall))
        baud = ("--baud", str(int(rng.choice([115200, 250000, 500000]))))
        truth = f"a frame takes {total} bytes, {part} has {RAM[part]}"
        made.append(_fits(wall, part, [16, 20][n % 2], fits, truth, *baud))
    made.append(_fits(big("WS2812B", 24, 24), "ATmega328P", 16, False, "1728 of 2048 bytes"))
    return made


def _limits(rng: np.random.Generator) -> list[Case]:
    small, four = big("WS2812B", 10, 4), big("WS2812B", 8, 8, 4)
    long = big("WS2812B", 40, 25)  # 3000 bytes
    case = _fits
    exact = "t0h_ns = [130, 133, 140]\n"  # 62.5 ns a cycle: none of 125, 187.5 is inside
    return [
        case(small, "ATmega328P", 20, False, "20 MHz cannot make 1,000,000 baud", "--baud",
             "1000000", named="1,?250,?000|baud"),
        case(small, "ATmega328P", 20, True, "1,250,000 baud at 20 MHz", "--baud", "1250000"),
        case(small, "ATmega328P", 16, True, "1,000,000 baud at 16 MHz", "--baud", "1000000"),
        case(long, "ATmega2560", 16, True, "3000 bytes at 1,000,000 baud", "--baud", "1000000"),
        case(long, "ATmega2560", 16, False, "3000 bytes at 2,000,000 baud: more than some 1200",
             "--baud", "2000000", named="baud|ring|faster"),
        case(big("WS2812B", 3, 40, 40), "ATmega328P", 16, False, "40 lines, 23 pins at most",
             named="pin"),
        case(four, "ATmega328P", 16, False, "two lines on one pin", "--pins", "B0,B1,B1,B2",
             named="B1"),
        case(four, "ATmega328P", 16, False, "three pins for four lines", "--pins", "B0,B1,B2",
             named="pin"),
        case(four, "ATmega328P", 16, True, "pins of two ports", "--pins", "B0,C1,B2,D7"),
        case(small, "ATmega328P", 16, False, "D0 is the serial port's", "--pins", "D0", named="D0"),
        case(small, "ATmega2560", 16, False, "E1 is the serial port's", "--pins", "E1", named="E1"),
        case(small, "ATmega328P", 16, False, "there is no B9", "--pins", "B9", named="B9"),
        case(small, "ATmega328P", 16, False, "there is no port A", "--pins", "A0", named="A0"),
        case(small, "ATmega2560", 16, True, "there is port A", "--pins", "A0"),
        case(small, "ATmega328P", 16, False, "data and clock for a chip without clock",
             "--pins", "B3/B5", named="clock|B3"),
        case(big("APA102", 10, 4), "ATmega328P", 16, False, "no pin for the clock of the chip",
             "--pins", "B3", named="clock"),
        case(big("APA102", 10, 4), "ATmega328P", 16, True, "data and clock", "--pins", "C0/C1"),
        case(big("WS2812B", 10, 4, chip=exact), "ATmega328P", 16, False,
             "no whole number of cycles of 62.5 ns is 130 to 140 ns", named="cycle|ns|chip"),
        case(big("WS2812B", 10, 4, chip="t0h_ns = [240, 250, 260]\n"), "ATmega328P", 16, False,
             "four cycles are 250 ns, but the firmware needs five", named="at least"),
        case(big("WS2812B", 10, 4, chip="t0h_ns = [305, 315, 330]\n"), "ATmega328P", 16, True,
             "five cycles are 312.5 ns"),
    ]  # fmt: skip


def _exists(case: Case) -> tuple[bool, bool, list[str], str]:
    with folder():
        ask(case.wall)
        mine = Path("fw/wall.h")
        mine.write_text("mine")
        status, said, _ = ask(case.wall)
        kept = mine.read_text() == "mine"
    return status == 2, "fw" in said and "exist" in said, [] if kept else ["it overwrote"], said


def frame(wall: Wall, number: int, lines: list[bytes]) -> bytes:
    """A frame on the link."""
    head, out = (number & 0xFFFF).to_bytes(2, "little"), b"\0"
    for k, data in enumerate(lines):
        for at in range(0, len(data), 246 - 10):
            part = data[at : at + 236]
            out += message(DATA, head + bytes([k]) + at.to_bytes(2, "little") + part)
    whole = b"".join(lines)
    check = crc(whole).to_bytes(2, "little")
    return out + message(LATCH, head + len(whole).to_bytes(4, "little") + check)


def decoded(vcd: str, part: str) -> dict[str, list[bytes]]:
    """Frames of each signal of a VCD file, the way a one-wire chip reads them."""
    scale = re.search(r"\$timescale\s+(\d+)\s*(\w+)", vcd)
    assert scale
    ns = int(scale[1]) * {"ps": 1e-3, "ns": 1, "us": 1e3}[scale[2]]
    names = dict(re.findall(r"\$var \w+ 1 (\S+) (\S+)", vcd))
    t0h, _, t1h, _, reset_us = ONE_WIRE[part]
    between = (t0h[1] + t1h[0]) / 2
    at, rose, fell = 0.0, {}, {}
    bits: dict[str, list[list[int]]] = {code: [[]] for code in names}
    for word in vcd.split("$enddefinitions $end")[1].split():
        if word[0] == "#":
            at = int(word[1:]) * ns
        elif word[0] == "1" and word[1:] in names:
            code = word[1:]
            rose[code] = at
            if at - fell.get(code, at) > reset_us * 1e3:
                bits[code].append([])
        elif word[0] == "0" and word[1:] in rose:
            code = word[1:]
            bits[code][-1].append(int(at - rose[code] > between))
            fell[code] = at
    return {names[code]: [np.packbits(b).tobytes() for b in found if b]
            for code, found in bits.items()}  # fmt: skip


def exchange(port: str, wall: Wall, frames: list[list[bytes]], until: float) -> int:
    """Send frames one after the other; how many the firmware latched."""
    link = os.open(port, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
    tty.setraw(link)
    rest, latched = b"", 0
    try:
        os.write(link, b"\0" + message(HELLO, b"\x01"))
        time.sleep(0.3)
        for n, lines in enumerate(frames):
            data = frame(wall, n, lines)
            while data:  # slowly, as the link is
                data = data[os.write(link, data[:64]) :]
                time.sleep(0.002)
            settled = False
            while not settled and time.monotonic() < until:
                try:
                    rest += os.read(link, 4096)
                except BlockingIOError:
                    time.sleep(0.01)
                *whole, rest = rest.split(b"\0")
                for stretch in whole:
                    plain = _plain(stretch)
                    if plain[:1] == b"\x82" and plain[1:3] == n.to_bytes(2, "little"):
                        settled, latched = True, latched + (plain[3] == 0)
    finally:
        os.close(link)
    return latched


def _plain(stretch: bytes) -> bytes:
    out = b""
    while stretch:
        length, stretch = stretch[0], stretch[1:]
        out, stretch = out + stretch[: length - 1], stretch[length - 1 :]
        out += b"\0" if stretch and length < 255 else b""
    return out


def _built(wall: Wall, part: str, mhz: int, baud: int) -> Callable[[Case], Any]:
    def own(case: Case) -> tuple[bool, bool, list[str], str]:
        rng = np.random.default_rng(7)
        frames = []
        for _ in range(6):
            drives = rng.integers(1, 256, (wall.leds, 3))
            drives[wall.hidden] = 0
            frames.append(wall.payload(drives))
        lies: list[str] = []
        with folder() as at:
            status, plan, made = ask(wall, "--controller", part, "--mhz", str(mhz), "--baud",
                                     str(baud))  # fmt: skip
            if status:
                return False, False, [f"exit {status}"], plan
            done = subprocess.run(["make", "-C", "fw"], capture_output=True, text=True, check=False)
            if done.returncode:
                return False, False, ["make failed"], done.stderr
            elf = made / "wall.elf"
            _, data, bss = sizes(elf)
            flash = sum(sizes(elf.with_suffix(".hex")))  # what goes into the chip
            memory = re.search(r"(\d+) of \d+ bytes of flash and (\d+) of", plan)
            assert memory
            if flash > int(memory[1]) or data + bss > int(memory[2]):
                lies.append(f"avr-size: flash {flash}, RAM {data + bss}; said {memory[0]}")
            latched, said = _run(at, elf, wall, frames)
            if latched != len(frames):
                lies.append(f"{latched} of {len(frames)} frames latched")
            if wall.part in ONE_WIRE:
                lies += _compared(Path("out.vcd").read_text(), wall, frames)
        if not re.search(r"pass", said) or re.search(r"\bfail", said):
            lies.append("the timing should pass")
        return not lies, True, lies, plan + said

    return own


def sizes(file: Path) -> tuple[int, int, int]:
    """Code, initial values and other variables, in bytes, by avr-size."""
    told = subprocess.run(["avr-size", file], capture_output=True, text=True, check=True)
    text, data, bss = map(int, told.stdout.splitlines()[1].split()[:3])
    return text, data, bss


def _run(at: Path, elf: Path, wall: Wall, frames: list[list[bytes]]) -> tuple[int, str]:
    """(frames latched, what was said) of `listen --firmware`."""
    port = at / "port"
    command = [sys.executable, "-c", ENTRY, "listen", "wall.toml", "--firmware", str(elf), "--name",
               str(port), "--to", "vcd:out.vcd", "--for", "60s"]  # fmt: skip
    run = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
                           env=os.environ | {"PYTHONPATH": str(ROOT)})  # fmt: skip
    until = time.monotonic() + 50
    try:
        while not port.exists() and time.monotonic() < until and run.poll() is None:
            time.sleep(0.05)
        latched = exchange(str(port), wall, frames, until) if port.exists() else 0
        time.sleep(0.3)
    finally:
        run.send_signal(signal.SIGINT)
        out, _ = run.communicate(timeout=30)
    return latched, re.sub(r"\s+", " ", out)


def _compared(vcd: str, wall: Wall, frames: list[list[bytes]]) -> list[str]:
    """Whether each line showed the frames that were sent, in their order."""
    lies = []
    found = list(decoded(vcd, wall.part).values())
    if len(found) != wall.lines:
        return [f"{wall.lines} lines, {len(found)} signals"]
    for k, shown in enumerate(found):
        sent = [lines[k] for lines in frames]
        bright = [s for s in shown if any(s)]  # not the dark frames of before and after
        if bright != sent:
            equal = sum(a == b for a, b in zip(bright, sent, strict=False))
            lies.append(f"line {k}: {len(sent)} frames sent, {len(bright)} shown, {equal} equal")
    return lies


@cache
def cases() -> tuple[Case, ...]:
    """All cases; the random numbers are always the same."""
    rng = np.random.default_rng(SEED)
    made = _memory(rng) + _limits(rng)
    made.append(Case("exists", big("WS2812B", 5, 3), "the folder is there", own=_exists))
    for part, chip, mhz, baud, lines, hiding in (
        ("ATmega328P", "WS2812B", 16, 1_000_000, 2, Hiding(first=1)),
        ("ATmega2560", "SK6812-RGBW", 16, 500_000, 1, Hiding(between=1)),
        ("ATmega1284P", "WS2811-LOW", 20, 1_250_000, 3, Hiding(last=2)),
        ("ATmega328P", "APA102", 20, 250_000, 1, Hiding()),
    ):
        wall = draw(rng, part=chip, style="words", size=(7, 6), lines=lines, hiding=hiding,
                    linear=True)  # fmt: skip
        made.append(Case("built and run", wall, f"{part}, {mhz} MHz, {baud} baud", quiet=True,
                         own=_built(wall, part, mhz, baud)))  # fmt: skip
    return tuple(made)
