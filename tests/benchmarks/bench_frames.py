"""The fast path: pictures to latched frames, with currents and the limiter."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from emulator import Bench, Display, canvas, parse_display
from tests.benchmarks.row import Row, best_s

WIRE_S = 576 * 24 * 1.25e-6  # physical: 24 bits an LED, 1.25 µs a bit


def wall(columns: int, rows: int) -> Display:
    """A wall of WS2812B on one line."""
    text = f"[grid]\ncolumns={columns}\nrows={rows}\n[chip]\npart='WS2812B'\n[wiring]\n"
    return parse_display(text, Path("bench.toml"))


def fast_path_s(display: Display, frames: int) -> float:
    """Time of one frame from picture to recording, in a stack of `frames`."""
    rng = np.random.default_rng(1)
    pictures = rng.integers(0, 256, (frames, *display.picture_shape), np.uint8)
    bench = Bench(display, keep=4 * frames)
    limit_a = display.leds * 0.012  # most of the random pictures ask for more
    period_ns = int(1.5 * display.leds * 30_000) + 1_000_000

    def work() -> None:
        drives = canvas.to_drives(pictures, display)
        limited = canvas.limit_current(drives, display.chip, limit_a)
        canvas.current_a(limited, display.chip)
        bench.send_frames(canvas.to_wire(limited, display)[0], period_ns)

    return best_s(work) / frames


def waveform_path_s(display: Display, frames: int) -> float:
    """Time of one frame from wire bytes over edges and back to recording, one after the other."""
    rng = np.random.default_rng(1)
    stack = rng.integers(0, 256, (frames, display.leds * 3), np.uint8)
    bench = Bench(display, waveform=True, keep=frames)

    def work() -> None:
        for frame in stack:
            bench.send_frame(frame)

    return best_s(work) / frames


def rows() -> list[Row]:
    """The rows of this file."""
    display = wall(24, 24)
    digital = WIRE_S / waveform_path_s(display, 64)
    fast = WIRE_S / fast_path_s(display, 64)
    small = fast_path_s(display, 64) / display.leds
    large_wall = wall(1000, 1000)
    large = fast_path_s(large_wall, 2) / large_wall.leds
    wire = "the wire, 17.28 ms a frame"
    return [
        Row(
            "digital path, 576 LEDs: waveform built, decoded, latched, recorded",
            f"{digital:.0f}× faster",
            "≥ 100×",
            wire,
        ),
        Row(
            "fast path, 576 LEDs, with currents and limiter", f"{fast:.0f}× faster", "≥ 500×", wire
        ),
        Row(
            "fast path, ns per LED and frame, 576 → 1,000,000 LEDs",
            f"{1e9 * small:.1f} → {1e9 * large:.1f} ns, {large / small:.2f}×",
            "≤ 1.5×",
            "linear",
        ),
    ]
