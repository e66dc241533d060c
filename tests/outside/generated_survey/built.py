"""The wall as soldered: mistakes at the bench, and which LED then shows in which cell."""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from tests.outside.generated_survey.played import Played


@dataclass
class Built:
    """The truth of each LED on the wire, in the order of the recording.

    `cell` (N,) is the cell it sits in, -1 for none; `gain` (N, 3) its light as a share of what it
    should give in red, green and blue; `colours` (N, 3) which drive each of these three follows;
    `told` says what was done, in words.
    """

    cell: np.ndarray
    gain: np.ndarray
    colours: np.ndarray
    told: list[str] = field(default_factory=list)

    @property
    def dark(self) -> np.ndarray:
        """(N,) the LEDs that give no light at all, or sit nowhere."""
        return (self.cell < 0) | (self.gain.max(axis=1) == 0)


def right(played: Played) -> Built:
    """The wall as planned."""
    number = len(played.cell)
    return Built(played.cell.copy(), np.ones((number, 3)), np.tile([0, 1, 2], (number, 1)))


def runs(played: Played, columns: int, along: str) -> list[np.ndarray]:
    """The numbers of the LEDs of each strip, by the plan."""
    lane = played.cell // columns if along == "rows" else played.cell % columns
    cuts = np.flatnonzero((np.diff(lane) != 0) | (np.diff(played.line) != 0)) + 1
    return np.split(np.arange(len(played.cell)), cuts)


def _line(played: Played, led: int) -> np.ndarray:
    return np.flatnonzero(played.line == played.line[led])


def reversed_run(rng, played, built, strips) -> None:
    run = strips[rng.integers(len(strips))]
    built.cell[run] = built.cell[run[::-1]]
    built.told.append(f"the strip of LEDs {run[0]} to {run[-1]} runs from its other end")


def exchanged_runs(rng, played, built, strips) -> None:
    pairs = [
        (a, b)
        for i, a in enumerate(strips)
        for b in strips[i + 1 :]
        if len(a) == len(b) and played.line[a[0]] == played.line[b[0]]
    ]
    if pairs:
        a, b = pairs[rng.integers(len(pairs))]
        built.cell[a], built.cell[b] = built.cell[b].copy(), built.cell[a].copy()
        built.told.append(f"strips {a[0]}-{a[-1]} and {b[0]}-{b[-1]} are exchanged")


def missing_led(rng, played, built, strips) -> None:
    led = int(rng.integers(len(played.cell)))
    line = _line(played, led)
    after = line[line >= led]
    built.cell[after] = np.r_[built.cell[after][1:], -1]
    built.told.append(f"the cell of LED {led} is empty, its wires are joined")


def extra_led(rng, played, built, strips) -> None:
    led = int(rng.integers(len(played.cell)))
    line = _line(played, led)
    after = line[line > led]
    if len(after):
        built.cell[after] = np.r_[-1, built.cell[after][:-1]]
    built.told.append(f"an LED too many after LED {led}, outside the cells")


def dead_leds(rng, played, built, strips) -> None:
    dead = rng.choice(len(played.cell), size=max(1, int(rng.integers(1, 4))), replace=False)
    built.gain[dead] = 0
    built.told.append(f"LEDs {sorted(map(int, dead))} stay dark and pass data on")


def open_joint(rng, played, built, strips) -> None:
    led = int(rng.integers(len(played.cell)))
    line = _line(played, led)
    built.gain[line[line > led]] = 0
    built.told.append(f"no data after LED {led} of its line")


def weak_leds(rng, played, built, strips) -> None:
    weak = rng.choice(len(played.cell), size=max(1, int(rng.integers(1, 4))), replace=False)
    built.gain[weak] *= 0.3
    built.told.append(f"LEDs {sorted(map(int, weak))} give 30 % of the light")


def dead_channel(rng, played, built, strips) -> None:
    led, channel = int(rng.integers(len(played.cell))), int(rng.integers(3))
    built.gain[led, channel] = 0
    built.told.append(f"LED {led} has no {('red', 'green', 'blue')[channel]}")


def swapped_channels(rng, played, built, strips) -> None:
    run = strips[rng.integers(len(strips))] if rng.random() < 0.5 else np.arange(len(played.cell))
    built.colours[run] = built.colours[run][:, [1, 0, 2]]
    built.told.append(f"red and green are exchanged in LEDs {run[0]} to {run[-1]}")


def fading(rng, played, built, strips) -> None:
    run = max(strips, key=len)
    built.gain[run] *= np.linspace(1, 0.45, len(run))[:, None]
    built.told.append(f"light falls to 45 % along LEDs {run[0]} to {run[-1]}")


def upside_down(rng, played, built, strips) -> None:
    built.cell[:] = played.cells - 1 - built.cell
    built.told.append("the wall hangs upside down")


Mistake = Callable[[np.random.Generator, Played, Built, list[np.ndarray]], None]
MISTAKES: dict[str, Mistake] = {
    "reversed": reversed_run,
    "exchanged": exchanged_runs,
    "missing": missing_led,
    "extra": extra_led,
    "dead": dead_leds,
    "open": open_joint,
    "weak": weak_leds,
    "channel": dead_channel,
    "swapped": swapped_channels,
    "fading": fading,
    "turned": upside_down,
}

# The faults of `foreglow faults` that each mistake may be named by, from what it says of them.
NAMES: dict[str, set[str]] = {
    "reversed": {"run-reversed", "other-corner"},
    "exchanged": {"runs-exchanged", "outputs-exchanged"},
    "missing": {"led-missing", "run-short"},
    "extra": {"led-extra", "run-long"},
    "dead": {"led-dark"},
    "open": {"data-open", "led-dark"},
    "weak": {"channel-weak", "other-batch", "front-dirty"},
    "channel": {"channel-off"},
    "swapped": {"other-chip"},
    "fading": {"power-joint", "feed-missing", "feed-joint", "other-batch"},
    "turned": {"other-corner"},
}
