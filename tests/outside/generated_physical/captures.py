"""Captures of lines whose bytes and times are known, and the verdicts that are true of them.

'pass' is false if a pulse is out of the part's limits, and 'fail' is false if none is. If all
pulses are further inside, or one further outside, than sampling can hide (two samples and two
roundings of the file), the verdict must say so. A damaged line never passes.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from tests.outside.generated_physical import dialects, lines, sampler
from tests.outside.generated_physical.run import FELL, Answer, folder, foreglow

SEED = 20261128
SPOILS = (
    "inverted",
    "idle high",
    "floating",
    "glitches",
    "wrong part",
    "swapped",
    "dead",
    "steady",
    "high impedance",
)


@dataclass
class Case:
    """One file and what is true of it. `spoilt` names what is wrong, '' if nothing is."""

    number: int
    part: str
    decode_as: str
    dialect: str
    rate: float
    spoilt: str
    line: lines.Line
    written: dialects.Written
    visible_ns: float  # what the file cannot hide: two samples and two roundings

    @property
    def kind(self) -> str:
        return f"{self.part} as {self.decode_as}, {self.dialect}, {self.rate / 1e6:g} MHz" + (
            f", {self.spoilt}" if self.spoilt else ""
        )


def _frames(rng: np.random.Generator, part: str) -> list[bytes]:
    each = 4 if part == "SK6812-RGBW" else 3
    leds, count = int(rng.integers(2, 9)), int(rng.integers(1, 4))
    made = []
    for _ in range(count):
        data = rng.integers(0, 256, leds * each).astype(np.uint8)
        data[:2] = 0x5A, 0xC3  # both kinds of bit in every frame
        made.append(data.tobytes())
    return made


def _pulses(
    part: lines.OneWire, rng: np.random.Generator, sharp: bool
) -> tuple[dict[str, float], float]:
    """Lengths somewhere inside the limits, one of them perhaps near or beyond one; and jitter."""
    names = ("t0h", "t0l", "t1h", "t1l")
    made = {}
    for name in names:
        least, most = part.limits(name)
        most = min(most, least + 700)
        made[name] = float(least + (most - least) * rng.uniform(0.35, 0.65))
    jitter = 0.0 if sharp else float(rng.choice([0.0, 0.0, 2.0, 10.0]))
    if sharp or rng.random() < 0.6:
        name = str(rng.choice(names))
        side = int(rng.integers(0, 2))
        away = float(rng.choice([0.3, 1, 4] if sharp else [0.3, 1, 4, 15, 40, 90, 160]))
        away *= float(rng.choice([-1, 1]))
        away += jitter if away > 0 else -jitter
        limit = part.limits(name)[side]
        if limit < 50e3:
            made[name] = max(limit + (away if side else -away), 60.0)
    return made, jitter


def _one_wire(n: int, rng: np.random.Generator, spoilt: str) -> Case:
    name = str(rng.choice(list(lines.ONE_WIRE)))
    part = lines.ONE_WIRE[name]
    sharp = not spoilt and rng.random() < 0.4  # right at a limit, where rounding would deceive
    pulses, jitter = _pulses(part, rng, sharp)
    if spoilt:
        pulses, jitter = {k: float(np.mean(np.clip(part.limits(k), 0, 1300))) for k in pulses}, 0.0
    times = float(rng.choice([0.6, 1.05, 1.3, 2.0])) if not spoilt else 1.5
    line = lines.one_wire(part, _frames(rng, name), pulses, jitter, part.reset * times, rng)
    rate = float(rng.choice(sampler.RATES if rng.random() < 0.6 else sampler.ODD_RATES))
    drift = 1 + float(rng.uniform(-4e-5, 4e-5))
    lead = float(rng.uniform(1.2, 2)) * part.reset
    seen = sampler.sample([line.edges * drift], line.end_ns, rate, lead, float(rng.uniform(0, 1)))
    decode_as = name
    if spoilt:
        rate = max(rate, 24e6)
        seen, decode_as = _spoil(spoilt, name, line, rate, lead, rng)
    pool = list(dialects.CHANGES) + list(dialects.SAMPLES) * (seen.count < dialects.MOST_ROWS)
    if sharp:
        pool = [d for d in dialects.CHANGES if "rate" not in d]
    if spoilt == "high impedance":
        pool = [d for d in pool if d.startswith("vcd")]
    dialect = str(rng.choice(pool))
    made = (dialects.CHANGES | dialects.SAMPLES)[dialect]
    written = made(seen, ["Data"], rng)
    visible = 2 * seen.step_ns + 2 * written.rough_ns
    return Case(n, name, decode_as, dialect, rate, spoilt, line, written, visible)


def _spoil(
    how: str, name: str, line: lines.Line, rate: float, lead: float, rng: np.random.Generator
) -> tuple[sampler.Seen, str]:
    """The same line, badly captured."""
    edges, phase, decode_as = line.edges, float(rng.uniform(0, 1)), name
    if how == "glitches":  # spikes of two to four samples, amid some pulses
        step = 1e9 / rate
        width = step * rng.uniform(2.1, 4)
        long = np.flatnonzero(np.diff(edges) > 3 * width)
        hit = rng.choice(long, min(len(long), int(rng.integers(1, 6))), replace=False)
        middle = edges[hit] + np.diff(edges)[hit] * rng.uniform(0.3, 0.6, len(hit))
        edges = np.sort(np.concatenate([edges, middle, middle + width]))
    if how == "wrong part":
        decode_as = str(rng.choice([*lines.CLOCKED, "WS2811-LOW"]))
        if name == "WS2811-LOW":
            decode_as = "WS2812B-V5"
    seen = sampler.sample([edges], line.end_ns, rate, lead, phase)
    if how in ("inverted", "idle high"):
        levels = 1 - seen.levels
        if how == "idle high":  # it rests high between frames, and is right within them
            levels = seen.levels.copy()
            gaps = np.diff(np.append(seen.at, seen.count)) * seen.step_ns > 20e3
            levels[gaps, 0] = 1
        keep = np.append(True, np.diff(levels[:, 0].astype(int)) != 0)
        seen = sampler.Seen(rate, seen.at[keep], levels[keep], seen.count)
    if how == "floating":  # noise of the mains and of neighbours, no data
        flips = np.cumsum(rng.exponential(float(rng.choice([60, 400, 3000, 50e3])), 600))
        seen = sampler.sample([flips], flips[-1] + 1e5, rate, lead, phase)
    if how == "high impedance":  # between frames nobody drives the line: 'z' in the file, not 0
        gaps = np.diff(np.append(seen.at, seen.count)) * seen.step_ns > 20e3
        levels = seen.levels.copy()
        levels[gaps, 0] = dialects.Z
        seen = seen.with_lines(levels)
    if how in ("dead", "steady"):
        level = np.full((1, 1), how == "steady", np.uint8)
        seen = sampler.Seen(rate, np.zeros(1, np.int64), level, seen.count)
    return seen, decode_as


def _clocked(n: int, rng: np.random.Generator, spoilt: str) -> Case:
    name = str(rng.choice(lines.CLOCKED))
    levels = _frames(rng, name)
    sent = lines.clocked_bytes(name, levels)
    clock = float(rng.choice([250, 500, 1000, 2000, 4000])) * float(rng.uniform(0.9, 1.1))
    rest = 600e3 if name == "WS2801" else float(rng.uniform(50e3, 900e3))
    pause = float(rng.choice([0, 0, 1.5])) * clock
    edges = lines.clocked(sent, clock, rest, pause)
    rates = [r for r in (*sampler.RATES, *sampler.ODD_RATES) if r > 3e9 / (clock / 2)]
    rate = float(rng.choice(rates))
    lead = 1.1e6
    seen = sampler.sample(list(edges[:2]), edges[2], rate, lead, float(rng.uniform(0, 1)))
    decode_as, names = name, ["CLK", "DATA"]
    if spoilt == "swapped":
        names = ["DATA", "CLK"]
    if spoilt == "wrong part":
        decode_as = str(rng.choice(list(lines.ONE_WIRE)))
    pool = list(dialects.CHANGES) + list(dialects.SAMPLES)[:3] * (seen.count < dialects.MOST_ROWS)
    pool = [d for d in pool if d != "bus bits" and "bit" not in d and "bus" not in d] if spoilt == (
        "swapped") else pool  # fmt: skip
    dialect = str(rng.choice(pool))
    written = (dialects.CHANGES | dialects.SAMPLES)[dialect](seen, names, rng)
    line = lines.Line(edges[0], edges[2], sent, {"clock": clock / 2 - 50})
    visible = 2 * seen.step_ns + 2 * written.rough_ns
    return Case(n, name, decode_as, dialect, rate, spoilt, line, written, visible)


@cache
def case(n: int) -> Case:
    rng = np.random.default_rng([SEED, n])
    spoilt = str(rng.choice(SPOILS)) if rng.random() < 0.35 else ""
    clocked = spoilt == "swapped" or (spoilt in ("", "wrong part") and rng.random() < 0.25)
    return (_clocked if clocked else _one_wire)(n, rng, spoilt)


def answer(made: Case) -> Answer:
    """What `foreglow decode` says of the file."""
    with folder() as place:
        (Path(place) / made.written.name).write_bytes(made.written.content)
        said = ["decode", made.written.name, "--chip", made.decode_as, "--json"]
        return foreglow(*said, *made.written.arguments)


def _bytes(data: Any) -> list[bytes]:
    return [bytes.fromhex(f["bytes"]) for line in data["lines"] for f in line["frames"]]


def judge(made: Case, said: Answer) -> list[str]:
    """What is wrong with the answer; empty if it is right."""
    if said.status == FELL:
        return ["fell: " + said.err.strip().splitlines()[-1]]
    if said.data is None:
        if said.status != 2:
            return [f"no answer, status {said.status}"]
        unreadable = made.written.lossy or made.spoilt in (
            "dead",
            "steady",
            "floating",
            "wrong part",
        )
        return [] if unreadable else ["not read: " + (said.out + said.err).strip()[:300]]
    verdict, faults = said.data["verdict"], []
    if (said.status == 0) != (verdict == "pass") and verdict != "cannot tell":
        faults.append(f"status {said.status} with '{verdict}'")
    if made.spoilt:
        if verdict == "pass":
            faults.append("spoilt, yet pass")
        return faults
    if verdict == "pass" and made.line.inside_ns < -0.1:
        faults.append(f"false pass: {made.line.worst_ns}")
    if verdict == "fail" and made.line.inside_ns > 0.1:
        faults.append(f"false fail: {made.line.worst_ns}")
    if not made.written.lossy:
        short = {k: v for k, v in made.line.worst_ns.items() if v < -made.visible_ns}
        if verdict == "cannot tell" and short:
            faults.append(f"undecided, but plainly outside: {short}")
        narrow = made.visible_ns * (4 if made.part in lines.CLOCKED else 1)  # data near the clock
        if verdict == "cannot tell" and made.line.inside_ns > narrow:
            faults.append(f"undecided, but plainly inside: {made.line.worst_ns}")
    clear = made.line.inside_ns > min(-25.0, -made.visible_ns / 4) and made.visible_ns < 130
    got, true = _bytes(said.data), made.line.frames
    right = _same(got, true, made)
    odd = min(made.line.worst_ns.get(k, 0) for k in ("t0h", "t1h")) < 0  # a part may read either
    excused = verdict == "fail" and made.line.inside_ns < 0 and (odd or not clear)
    if not right and verdict != "cannot tell" and not excused:
        faults.append(f"wrong bytes with '{verdict}'")
    elif not right and clear and not made.written.lossy:
        faults.append(f"wrong bytes, though plain: {_hex(got)} for {_hex(true)}")
    return faults


def _same(got: list[bytes], true: list[bytes], made: Case) -> bool:
    if made.line.worst_ns.get("reset", 0) < 0:  # whether one frame or two is the part's own choice
        return b"".join(got) == b"".join(true)
    if made.part in lines.CLOCKED:  # zeros at the end mean nothing
        return [g.rstrip(b"\0") for g in got] == [t.rstrip(b"\0") for t in true]
    return got == true


def _hex(frames: list[bytes]) -> str:
    return "/".join(f.hex()[:24] for f in frames)


def faults(n: int) -> list[str]:
    """Run case `n`, and tell what is wrong."""
    made = case(n)
    return judge(made, answer(made))


def story(n: int) -> str:
    return case(n).kind
