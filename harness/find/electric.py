"""What a person sees of walls whose facts do not say all: volts matter, or chance does.

- Of a loose joint a still picture usually shows nothing: every frame that gets through puts it
  right. If it is open just then, its LEDs change late (`Search` takes that for half a slip). In
  moving pictures its LEDs keep an old one now and then, so they flicker; so do LEDs without supply.
- Walls whose volts matter are played as in a campaign (`harness.campaign.sagging`).
- Where chance decides what arrives, nothing is known beforehand: see `harness.find.chance`.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from emulator.arrays import Bools, Ints
from emulator.chain import Known, by_led
from emulator.clock import SECOND_NS
from emulator.description.display import Display
from emulator.description.faults.built import Built
from emulator.power.network import build_network
from emulator.power.solve import solve_rails
from harness.campaign.eye import Eye
from harness.campaign.sagging import Walls
from harness.campaign.settled import Settled
from harness.find.answer import FLICKER, UNKNOWN, Symbols
from harness.find.pictures import Frames, Question

_SAG_AT_ONCE = 1 << 17  # LEDs


def loose(
    frames: Frames, wall: Settled, reference: Symbols, changed: Bools, known: Known
) -> Symbols:
    """Symbols (Q, N) of a wall whose faults come and go.

    reference: (Q, N) of the wall without them. changed: (N,) LEDs that differ while they are there.
    known: as of `by_led`.
    """
    symbols = reference.copy()
    flickers = changed | (by_led(wall.built, known).at < 0) | wall.down
    symbols[np.ix_(frames.moving, flickers)] = FLICKER
    lit = frames.lit & (wall.down & flickers)
    symbols[lit] = FLICKER
    return symbols


def old(display: Display, before: Question, now: Question) -> Symbols:
    """Symbols (T, N) of LEDs that keep one of the T pictures of a question before, while those of
    another should be there."""
    eye, none = Eye(display, []), np.zeros(display.leds, dtype=np.int64)
    frames = Frames.of_questions([now], display)
    meant = eye.light(frames.drives)
    kept = eye.light(Frames.of_questions([before], display).drives)
    every = np.arange(display.leds)
    shown = (np.broadcast_to(one, meant.shape) for one in kept)
    return np.stack([frames.joined(eye.symbols(meant, one, every, none))[0] for one in shown])


def sagging(display: Display, walls: Sequence[Settled], frames: Frames, eye: Eye) -> list[Symbols]:
    """Symbols (Q, N) of each wall whose volts matter, each picture two seconds after the other."""
    none, every = np.zeros(display.leds, dtype=np.int64), np.arange(display.leds)
    rails = solve_rails(build_network(display), frames.drives, display.chip)
    meant = eye.mixed(rails.delivered.astype(np.float32))
    found: list[Symbols] = []
    size = max(_SAG_AT_ONCE // display.leds, 1)
    for begin in range(0, len(walls), size):
        some = walls[begin : begin + size]
        played = Walls(display, some)
        symbols = np.zeros((len(some), len(frames.data), display.leds), dtype=np.uint8)
        for number, data in enumerate(frames.data):
            starts_ns = 2 * number * SECOND_NS
            light = played.show(data, starts_ns, starts_ns + SECOND_NS).light
            for wall in range(len(some)):
                shown = eye.mixed(light[wall, None])
                symbols[wall, number] = eye.symbols(meant[number, None], shown, every, none)[0]
        found += [frames.joined(one) for one in symbols]
    return found


def restless(display: Display, wall: Settled, known: Symbols) -> Symbols:
    """Symbols (Q, N) of a wall on which chance decides what arrives; `known` on other lines."""
    return np.where(_lines_of(wall, display), UNKNOWN, known).astype(np.uint8)


def _lines_of(wall: Settled, display: Display) -> Bools:
    """(N,) LEDs of the lines that the faults of a wall name; all, if one of them names none."""
    places = [fault.place for fault in wall.there]
    if any(place.get("line") is None or "other" in place for place in places):
        return np.ones(display.leds, dtype=bool)
    return np.isin(display.wiring.line, [int(str(place["line"])) for place in places])


def changed_by(built: Built, reference: Built) -> Bools:
    """(N,) LEDs that a fault of the strip changes while it is there, beside those without data."""
    glow = (built.glow != reference.glow).any(axis=1)
    off = ((built.off != reference.off) | (built.on != reference.on)).any(axis=1)
    return np.asarray(glow | off)


def as_sparse(
    walls: Sequence[tuple[int, Symbols]], reference: Symbols
) -> tuple[Ints, Symbols, Ints, Ints]:
    """Walls, each with its number and symbols (Q, N), as position (U,), symbols (Q, U), fault (K,)
    and which (K,) of `Table`."""
    rows, faults = [], []
    for number, symbols in walls:
        at = np.flatnonzero((symbols != reference).any(axis=0))
        place = at.astype(np.uint32)[:, None].view(np.uint8)
        rows.append(np.concatenate([place, symbols[:, at].T], axis=1))
        faults.append(np.full(at.size, number))
    if not rows:
        none = np.zeros(0, dtype=np.int64)
        return none, np.zeros((len(reference), 0), dtype=np.uint8), none, none
    every = np.ascontiguousarray(np.concatenate(rows))
    keys = every.view(np.dtype((np.void, every.shape[1]))).ravel()
    _, first, which = np.unique(keys, return_index=True, return_inverse=True)
    kept = every[first]
    position = np.ascontiguousarray(kept[:, :4]).view(np.uint32).ravel().astype(np.int64)
    return position, np.ascontiguousarray(kept[:, 4:].T), np.concatenate(faults), which.ravel()
