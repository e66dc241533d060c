"""Faults of wiring and strip: what each LED shows, against `chain.py`."""

from __future__ import annotations

from pathlib import Path

import numpy as np

import emulator
from tests.outside.generated_faults import chain, draw, walls
from tests.outside.generated_faults.chain import Fault
from tests.outside.generated_faults.walls import Wall
from tests.outside.generated_physical.run import folder, foreglow

SEED = 20261401
LETTERS = {v: k for k, v in draw.NAMES.items()}


def clash(wall: Wall, faults: list[Fault]) -> bool:
    """Whether two faults concern the same LEDs, so that the words leave open what is built."""
    if all(f["kind"] in draw.STRIP for f in faults):
        pieces = [f for f in faults if f["kind"] == "other-chip"]
        return len(pieces) > 1  # which of two chips is there is not said
    leds = set[int]()
    for f in faults:
        if f["kind"] in draw.LIGHT:
            continue
        line = wall.lines[f.get("line", 0)]
        mine: set[int]
        if "run" in f:
            touched = {f["run"], *([f["other"]] if "other" in f else [])}
            mine = {led for n in touched for led in wall.runs[n]}
        elif f["kind"] in ("other-corner", "outputs-exchanged"):
            mine = set(line) | set(wall.lines[f.get("other", f.get("line", 0))])
        elif "first" in f:
            mine = set(line[f["first"] : f["last"] + 1])
        elif "after" in f:
            mine = set(line[max(f["after"], 0) : f["after"] + 1])
        else:
            mine = {line[f["led"]]}
        if mine & leds:
            return True
        leds |= mine
    return False


def case(n: int) -> tuple[Wall, list[Fault], np.random.Generator]:
    rng = np.random.default_rng([SEED, n])
    kinds = (*draw.WIRING, *draw.STRIP, *draw.CHANNEL, *draw.LIGHT)
    while True:
        wall = walls.draw(rng)
        # every kind in turn, and another or two beside it
        wanted = [kinds[n % len(kinds)]]
        more = draw.STRIP if n % 3 and wanted[0] in draw.STRIP else kinds
        wanted += [str(k) for k in rng.choice(more, int(rng.integers(0, 3)))]
        faults = [draw.one(rng, wall, kind) for kind in wanted]
        if all(faults) and not clash(wall, faults):
            return wall, faults, rng


def light_of(led: chain.Led, wall: Wall, place: int, faults: list[Fault]) -> np.ndarray:
    """Light (3,) of an LED: drives as shares, W added to all, I scaling, and faulty channels."""
    level = {c: 0.0 if led.dark else led.shows.get(c, 0) / 255 for c in "RGBW"}
    if "I" in led.order:
        level = {c: v * (led.shows.get("I", 0) / 31) for c, v in level.items()}
    line = wall.line_of(place)
    on_line = wall.lines[line].index(place)
    for f in faults:
        if f.get("line", 0) != line or "kind" not in f:
            continue
        if f["kind"] == "other-batch" and f["first"] <= on_line <= f["last"]:
            for c, usual in (("red", 0.8), ("green", 0.9), ("blue", 1.0)):
                level[LETTERS[c]] *= f.get(c, usual)
        if f["kind"].startswith("channel-") and f["led"] == on_line:
            c = LETTERS[f["channel"]]
            level[c] = {"channel-off": 0.0, "channel-on": 1.0}.get(
                f["kind"], level[c] * f.get("level", 0.5)
            )
    if "W" in led.order and "W" not in wall.order:  # the drives of this wall hold no more than full
        return np.array([min(level[c] + level["W"], 1.0) for c in "RGB"])
    return np.array([level[c] + level["W"] for c in "RGB"])


def predicted(wall: Wall, faults: list[Fault], frames) -> list[tuple]:
    """For each frame the drives (N, C) and the light (N, 3) of the LEDs at their planned places."""
    chains = chain.built(wall, faults)
    told = []
    for drives in frames:
        for line, leds in enumerate(chains):
            data = chain.frame(wall, drives, line)
            one_wire = wall.part in walls.ONE_WIRE
            chain.play(leds, chain.to_bits(data, wall.part) if one_wire else data)
        shown = np.zeros(drives.shape, int)
        light = np.zeros((len(drives), 3))
        for led in [x for leds in chains for x in leds]:
            if led.place is not None:
                shows = {} if led.dark else led.shows
                shown[led.place] = [shows.get(c, 0) for c in wall.channels]
                if "W" in led.order and "W" not in wall.order:  # they hold no white of its own
                    shown[led.place] = np.minimum(shown[led.place] + shows.get("W", 0), 255)
                light[led.place] = light_of(led, wall, led.place, faults)
        told.append((shown, light))
    return told


def _way(rng: np.random.Generator, wall: Wall, faults: list[Fault], **options) -> emulator.Bench:
    """A bench with these faults, given in one of the ways or both."""
    tables = [draw.table(rng, f) for f in faults]
    said = [draw.sentence(rng, f) for f in faults]
    cut = int(rng.integers(0, len(faults) + 1))
    text = wall.text + "".join(tables[:cut])
    display = emulator.parse_display(text, Path("wall.toml"))
    return emulator.Bench(display, faults=said[cut:], **options)


def wrong(n: int) -> list[str]:
    """Run case `n`, and tell where the bench and the prediction differ."""
    wall, faults, rng = case(n)
    if n % 10 == 9 and wall.part in SHOWN_BY_PICTURES:
        return recorded(wall, faults, rng)
    frames = walls.drives(rng, wall, 3)
    bench = _way(rng, wall, faults, waveform=bool(n % 5 == 0))
    channel_leds = {
        wall.lines[f.get("line", 0)][k]
        for f in faults
        if f["kind"] in draw.CHANNEL
        for k in ([f["led"]] if "led" in f else range(f["first"], f["last"] + 1))
    }
    compared = [k for k in range(len(wall.display.wiring)) if k not in channel_leds]
    said = []
    for k, (shown, light) in enumerate(predicted(wall, faults, frames)):
        bench.leds[:] = frames[k]
        bench.leds.send()
        off = [p for p in compared if (bench.drives[p] != shown[p]).any()]
        if off:
            said.append(
                f"frame {k}: drives of {len(off)} LEDs differ, first {off[0]}: "
                f"shows {bench.drives[off[0]]}, predicted {shown[off[0]]}"
            )
        hidden = wall.display.wiring.hidden
        far = np.abs(bench.light - light).max(axis=1)
        close = 0.5 / 255 + 1e-6 if "I" in wall.channels and channel_leds else 1e-6
        lit = [int(p) for p in np.flatnonzero((far > close) & ~hidden) if not off]
        if lit:
            said.append(f"frame {k}: light of {len(lit)} LEDs differs, first {lit[0]}: "
                        f"{bench.light[lit[0]]}, predicted {light[lit[0]]}")  # fmt: skip
    return said[:2]


SHOWN_BY_PICTURES = ("WS2812B", "WS2812B-V5", "WS2813B", "SK6812", "WS2811-LOW", "WS2811-HIGH")
SCENE = """
import numpy as np

def picture(time_s, display):
    return np.random.default_rng(5).integers(0, 256, display.picture_shape).astype(np.uint8)
"""


def recorded(wall: Wall, faults: list[Fault], rng: np.random.Generator) -> list[str]:
    """The same by `foreglow record --fault`, from a picture whose codes are the drives."""
    cut = int(rng.integers(0, len(faults) + 1))
    text = wall.text + "[canvas]\ncurve = 1\n" + "".join(draw.table(rng, f) for f in faults[:cut])
    given = [word for f in faults[cut:] for word in ("--fault", draw.sentence(rng, f))]
    with folder() as place:
        (place / "wall.toml").write_text(text)
        (place / "still.py").write_text(SCENE)
        answer = foreglow("record", "wall.toml", "still.py", "--seconds", "0.2", "-o", "r", *given)
        if answer.status:
            return [f"record: status {answer.status}, {answer.err[-300:]}"]
        shown = emulator.load_recording(place / "r").drives[-1]
    wiring, grid = wall.display.wiring, wall.display.grid
    picture = np.random.default_rng(5).integers(0, 256, (grid.rows, grid.columns, 3))
    sent = np.where(wiring.hidden[:, None], 0, picture[wiring.row, wiring.column])
    true = predicted(wall, faults, [sent] * 2)[-1][0]
    off = [p for p in range(len(sent)) if (shown[p] != true[p]).any()]
    stuck = [f for f in faults if f["kind"] in ("channel-on", "channel-off")]
    if len(off) > len(stuck):
        return [
            f"recorded: {len(off)} LEDs differ, first {off[0]}: {shown[off[0]]}, {true[off[0]]}"
        ]
    return []


def story(n: int) -> str:
    wall, faults, _ = case(n)
    return f"{wall.part} {wall.order}: {faults}"
