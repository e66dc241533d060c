"""Displays with power sections, drawn by hypothesis or written out, for this folder's tests."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from hypothesis import strategies as st

from emulator import Display, parse_display

PARTS = ("WS2812B", "SK6812-RGBW", "APA102", "WS2815")


def wall(columns: int, rows: int, power: str = "", part: str = "WS2812B") -> Display:
    """A wall on one line, with a power section in TOML."""
    text = f"[grid]\ncolumns={columns}\nrows={rows}\n[chip]\npart='{part}'\n[wiring]\n{power}"
    return parse_display(text, Path("wall.toml"))


@st.composite
def powered_walls(draw: Any, most_supplies: int = 3, least_amps: float = 0.02) -> Display:
    """A small wall with any feeds, buses, jumpers and supplies."""
    columns, rows = draw(st.integers(1, 6)), draw(st.integers(1, 4))
    part = draw(st.sampled_from(PARTS))
    volts = 12.0 if part == "WS2815" else 5.0
    supplies = draw(st.integers(1, most_supplies))
    leds = columns * rows
    feeds = draw(
        st.lists(
            st.tuples(
                st.integers(0, leds - 1), st.integers(0, supplies - 1), st.integers(10, 26),
                st.floats(0.01, 3), st.floats(0, 50),
            ), min_size=1, max_size=4,
        )
    )  # fmt: skip
    buses = draw(st.sets(st.integers(0, supplies - 1)))
    lines = [f"[power]\nrail_ohm_per_m = {draw(st.floats(0.02, 20))}"]
    lines.append("jumper = {awg = 20, length_m = 0.05}")
    for led, supply, awg, length, mohm in feeds:
        lines.append(
            f"[[power.feed]]\nled={led}\nsupply={supply}\nawg={awg}\nlength_m={length}\n"
            f"connector_mohm={mohm}"
        )
    lines += [f"[[power.bus]]\nsupply={number}\nbetween_m=0.3" for number in sorted(buses)]
    for _ in range(supplies):
        amps = draw(st.floats(least_amps, 4))
        share = draw(st.sampled_from([1.0, 1.0, 0.98, 1.04]))
        ohm = draw(st.sampled_from([0.0, 0.0, 0.01, 0.3]))
        lines.append(f"[[power.supply]]\nvolts={volts * share}\namps={amps}\nsource_ohm={ohm}")
    return wall(columns, rows, "\n".join(lines), part)


def random_drives(display: Display, frames: int, seed: int) -> np.ndarray:
    """(T, N, C): dark, full and random LEDs mixed."""
    rng = np.random.default_rng(seed)
    channels = display.chip.channels
    drives = rng.integers(0, 256, (frames, display.leds, len(channels)))
    drives[rng.random(drives.shape) < 0.2] = 0
    drives[rng.random(drives.shape) < 0.3] = 255
    if "I" in channels:
        drives[..., 3] = np.minimum(drives[..., 3], 31)
    return drives.astype(np.uint8)
