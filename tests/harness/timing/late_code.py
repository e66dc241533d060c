"""Display code that is wrong in time, and code that is right, each written out by hand.

`wrong(display, answer, rng)` and `right(…)` give names and functions from picture to drives (N, C);
`answer` is code without memory, right or with a wrong map or colours.
"""

from __future__ import annotations

import time
from collections import deque
from dataclasses import replace

import numpy as np

from emulator.canvas import (
    Canvas,
    LimiterState,
    current_a,
    limit_current,
    limit_smoothly,
    to_drives,
    to_wire,
)
from emulator.picture.srgb import srgb_to_linear


class Late:
    """Some LEDs, or all, show the picture so many before."""

    def __init__(self, answer, display, begin, end, lag):
        self.answer, self.leds, self.lag = answer, slice(begin, end), lag
        self.past = deque([np.zeros(display.picture_shape, np.uint8)] * (lag + 1), lag + 1)

    def __call__(self, picture):
        self.past.append(picture.copy())
        drives = self.answer(picture)
        drives[self.leds] = self.answer(self.past[0])[self.leds]
        return drives


class Every:
    """In some frames of a period, another answer: black, the one before, white, or dimmed."""

    def __init__(self, answer, period, phases, other, begin=None, end=None):
        self.answer, self.period, self.phases, self.other = answer, period, phases, other
        self.leds, self.count, self.before = slice(begin, end), 0, None

    def __call__(self, picture):
        drives = own = self.answer(picture)
        if self.count % self.period in self.phases:
            drives = own.copy()
            drives[self.leds] = self.changed(own)[self.leds]
        self.count += 1
        self.before = own if self.other == "before" else drives
        return drives

    def changed(self, drives):
        if self.other == "black":
            return dark(drives)
        if self.other == "dim":
            return scaled(drives, 0.4)
        return self.before if self.before is not None else drives


class Exchanged:
    """One frame of a period is held back and comes in the place of the next."""

    def __init__(self, answer, period, phase):
        self.answer, self.period, self.phase, self.count = answer, period, phase, 0
        self.kept = self.last = None

    def __call__(self, picture):
        own = drives = self.answer(picture)
        turn = self.count % self.period
        if turn == self.phase:
            self.kept, drives = own, self.last if self.last is not None else own
        elif turn == self.phase + 1 and self.kept is not None:
            drives = self.kept
        self.last = own
        self.count += 1
        return drives


class ExchangedLate:
    """All frames come one late, and two of a period are exchanged."""

    def __init__(self, answer, display, period, phase):
        self.answer, self.period, self.phase, self.count = answer, period, phase, 0
        self.past = deque([np.zeros(display.picture_shape, np.uint8)] * 3, 3)

    def __call__(self, picture):
        self.past.append(picture.copy())
        turn = self.count % self.period
        lag = {self.phase: 0, self.phase + 1: 2}.get(turn, 1)
        self.count += 1
        return self.answer(self.past[-1 - lag])


class Blend:
    """The picture before, or all earlier ones, shine through: in drives or in levels."""

    def __init__(self, answer, share, domain, trail, begin=None, end=None):
        self.answer, self.share, self.domain, self.trail = answer, share, domain, trail
        self.leds, self.before = slice(begin, end), None

    def __call__(self, picture):
        own = self.answer(picture)
        value = (own if self.domain == "drives" else picture).astype(float)
        if self.before is None:
            self.before = value * 0
        mixed = (1 - self.share) * value + self.share * self.before
        if self.domain == "brighter":
            mixed = np.maximum(value, self.share * self.before)
        self.before = mixed if self.trail else value
        mixed = np.round(mixed).astype(np.uint8)
        if self.domain != "drives":
            mixed = self.answer(mixed)
        if len(own[0]) == 4 and (own[:, 3] == 31).all():
            mixed[:, 3] = 31  # a common intensity does not light by itself
        own[self.leds] = mixed[self.leds]
        return own


class Torn:
    """A buffer that is overwritten while it is sent: the rest still holds the picture before."""

    def __init__(self, answer, rng, share=1.0):
        self.answer, self.rng, self.before, self.share = answer, rng, None, share

    def __call__(self, picture):
        own = self.answer(picture)
        drives = own.copy()
        if self.before is not None and self.rng.random() < self.share:
            edge = self.rng.integers(1, len(own))
            drives[edge:] = self.before[edge:]
        self.before = own
        return drives


class Dropped:
    """Frames are left out now and then: the one before stays."""

    def __init__(self, answer, rng, share, black=False):
        self.answer, self.rng, self.share, self.last = answer, rng, share, None
        self.black = black

    def __call__(self, picture):
        drives = self.answer(picture)
        if self.last is not None and self.rng.random() < self.share:
            drives = dark(drives) if self.black else self.last
        self.last = self.answer(picture)
        return drives


class Random:
    """Random light in some LEDs."""

    def __init__(self, answer, rng, begin, end, most):
        self.answer, self.rng, self.leds, self.most = answer, rng, slice(begin, end), most

    def __call__(self, picture):
        drives = self.answer(picture).astype(int)
        part = drives[self.leds, :3]
        part += self.rng.integers(-self.most, self.most + 1, part.shape)
        return drives.clip(0, 255).astype(np.uint8)


class Dims:
    """All light times a factor that depends on the frame."""

    def __init__(self, answer, factor):
        self.answer, self.factor, self.count = answer, factor, 0

    def __call__(self, picture):
        factor = self.factor(self.count)
        self.count += 1
        return scaled(self.answer(picture), factor)


class First:
    """The first frames are different."""

    def __init__(self, answer, frames, other):
        self.answer, self.frames, self.other, self.count = answer, frames, other, 0

    def __call__(self, picture):
        drives = self.answer(picture)
        self.count += 1
        if self.count <= self.frames:
            return dark(drives) if self.other == "black" else drives[::-1].copy()
        return drives


class OnlyChanges:
    """What does not change is left dark."""

    def __init__(self, answer, whole):
        self.answer, self.whole, self.before = answer, whole, None

    def __call__(self, picture):
        own = self.answer(picture)
        drives = own.copy()
        if self.before is not None:
            same = (own == self.before).all(axis=1)
            if self.whole:
                same[:] = same.all()
            drives[same] = dark(drives)[same]
        self.before = own
        return drives


class Alternating:
    """Each line, or every other LED, takes a picture only in its turn."""

    def __init__(self, answer, groups):
        self.answer, self.groups, self.shown, self.count = answer, groups, None, 0

    def __call__(self, picture):
        own = self.answer(picture)
        if self.shown is None:
            self.shown = own.copy()
        turn = self.groups == self.count % (self.groups.max() + 1)
        self.shown[turn] = own[turn]
        self.count += 1
        return self.shown.copy()


class Behind:
    """A queue that is emptied more slowly than it is filled."""

    def __init__(self, answer):
        self.answer, self.past = answer, []

    def __call__(self, picture):
        self.past.append(picture.copy())
        return self.answer(self.past[3 * (len(self.past) - 1) // 4])


class Other:
    """In some frames something else: white, inverted, or another map."""

    def __init__(self, answer, period, change):
        self.answer, self.period, self.change, self.count = answer, period, change, 0

    def __call__(self, picture):
        self.count += 1
        drives = self.answer(picture)
        return self.change(drives, picture) if self.count % self.period == 0 else drives


class Creeps:
    """The map moves on by one LED a frame."""

    def __init__(self, answer):
        self.answer, self.count = answer, 0

    def __call__(self, picture):
        self.count += 1
        return np.roll(self.answer(picture), self.count, axis=0)


def dark(drives):
    off = drives.copy()
    off[:, :3] = 0
    if drives.shape[1] == 4 and not (drives[:, 3] == 31).all():
        off[:, 3] = 0
    return off


def scaled(drives, factor):
    out = drives.astype(float)
    keep = out.shape[1] == 4 and (out[:, 3] == 31).all()
    out[:, : 3 if keep else None] *= factor
    return np.round(out).clip(0, 255).astype(np.uint8)


def wrong(display, answer, rng):
    """(name, function from picture to drives, what must be said) of each kind, by chance."""
    leds = display.leds
    a, b = sorted(rng.choice(np.arange(1, leds), 2, replace=False).tolist())
    if b - a < 3:
        a, b = leds // 3, leds // 3 + 10
    n = int(rng.integers(3, 12))
    k = int(rng.integers(2, 4))
    p = float(rng.uniform(0.1, 0.5))
    i = int(rng.integers(0, n - 1))
    percent = rf"({round(100 * p) - 1}|{round(100 * p)}|{round(100 * p) + 1})%"
    line = display.wiring.line
    other = np.arange(leds) % 2
    yield "half late", Late(answer, display, a, b, 1), "LEDs .* show the picture before"
    yield "end late", Late(answer, display, leds // 2, None, 1), "LEDs .* show the picture before"
    yield "part later", Late(answer, display, a, b, k), f"LEDs .* show the picture {k} before"
    yield "all late", Late(answer, display, 0, None, 1), "each picture is shown one frame late"
    yield "all later", Late(answer, display, 0, None, k), f"is shown {k} frames late"
    yield "far later", Late(answer, display, 0, None, 7), "is shown 7 frames late"
    yield "every n black", Every(answer, n, {i}, "black"), "every .* frame is black"
    yield "every second black", Every(answer, 2, {1}, "black"), "every second frame is black"
    yield "third black", Every(answer, 3, {2}, "black"), "every third frame is black"
    yield "rare black", Every(answer, 31, {17}, "black"), "every 31st frame is black"
    yield "two black", Every(answer, 10, {3, 7}, "black"), "frames 3 and 7 of every 10 are black"
    yield "part black", Every(answer, n, {i}, "black", a, b), "LEDs .* black in every .* frame"
    yield "repeated", Every(answer, n, {i}, "before"), "frame shows the picture before again"
    yield (
        "part repeated",
        Every(answer, n, {i}, "before", a, b),
        "the picture before again on .*LED",
    )
    yield "dim frames", Every(answer, n, {i}, "dim"), f"light changes every {n} frames"
    yield "exchanged", Exchanged(answer, 10, 7), "frames 7 and 8 of every 10 .*exchanged"
    yield "exchanged n", Exchanged(answer, n, i), f"frames {i} and {i + 1} of every {n} .*exchanged"
    yield "exchanged late", ExchangedLate(answer, display, n, i), "are exchanged"
    yield "blend", Blend(answer, p, "levels", False), f"{percent} of the picture before"
    yield "blend 30", Blend(answer, 0.3, "levels", False), "(29|30|31)% of the picture before"
    yield "blend drives", Blend(answer, p, "drives", False), f"{percent} of the picture before"
    yield "part blend", Blend(answer, p, "levels", False, a, b), f"{percent} .* on .*LED"
    yield "trail", Blend(answer, p, "levels", True), "of the pictures? before"
    yield "trail drives", Blend(answer, p, "drives", True), "of the pictures? before"
    yield "afterglow", Blend(answer, 0.5, "brighter", False), "of the pictures? before"
    yield "torn", Torn(answer, rng), "show.* the picture before in .* frames"
    yield "torn sometimes", Torn(answer, rng, 0.2), "show.* the picture before in .* frames"
    yield "dropped", Dropped(answer, rng, 0.2), "the picture before is shown again|earlier picture"
    yield "black by chance", Dropped(answer, rng, 0.1, True), "wall is black"
    yield "noise", Random(answer, rng, 0, None, 30), "not repeatable"
    yield "part noise", Random(answer, rng, a, b, 100), "not repeatable"
    yield "falls", Dims(answer, lambda t: 1 / (1 + t / 60)), "light falls from frame to frame"
    yield "rises slowly", Dims(answer, lambda t: min(1, 0.1 + t / 400)), "light rises"
    yield "fades in", Dims(answer, lambda t: min(1, t / 30)), "first .* frames are dimmer"
    yield "flickers", Dims(answer, lambda t: rng.uniform(0.5, 1)), "light changes from frame to"
    yield "first black", First(answer, 1, "black"), "the first frame is dark"
    yield "warms up", First(answer, 12, "black"), "the first 12 frames are dark"
    yield "first wrong", First(answer, 1, "wrong"), "the first frame is different from"
    yield "only changes", OnlyChanges(answer, False), "only what changes is sent"
    yield "not again", OnlyChanges(answer, True), "only what changes is sent"
    yield "every other LED", Alternating(answer, other), "take only every second picture"
    if line.max():
        yield "lines by turns", Alternating(answer, line), "take only every .* picture"
    yield "every third taken", Alternating(answer, np.arange(leds) % 3), "take only every third"
    yield "behind", Behind(answer), "another picture than the one just sent"
    white = answer(np.full(display.picture_shape, 255, np.uint8))
    yield (
        "white",
        Other(answer, n, lambda d, p: white.copy()),
        "every .* frame always shows the same",
    )
    yield (
        "inverted",
        Other(answer, n, lambda d, p: answer(255 - p)),
        "every .* frame shows something",
    )
    yield (
        "shifted",
        Other(answer, n, lambda d, p: np.roll(d, 1, 0)),
        "every .* frame shows something",
    )
    yield "creeps", Creeps(answer), "not repeatable|depends"


def right(display, rng):
    """(name, function from picture to what goes on the wire) of code that is right in time."""
    cell, gamma, chip = (
        display.wiring.cell,
        np.round(255 * (np.arange(256) / 255) ** 2.2),
        display.chip,
    )
    leds, rgb = display.leds, len(chip.channels) == 3
    own = lambda picture: to_drives(picture, display)  # noqa: E731
    wire = lambda drives: to_wire(drives, display)  # noqa: E731
    idle = leds * chip.dark_ma / 1e3
    full = float(current_a(np.full((leds, len(chip.channels)), 255, np.uint8), chip)) - idle
    buffer, state = np.zeros((leds, len(chip.channels)), np.uint8), {"ns": 0}

    def limited(share):
        return lambda picture: wire(limit_current(own(picture), chip, idle + share * full))

    def smooth(share, step_ns, answer=own):
        kept = {"state": LimiterState(), "ns": 0}

        def to_wire_function(picture):
            kept["ns"] += step_ns
            drives, kept["state"] = limit_smoothly(
                answer(picture)[None],
                chip,
                idle + share * full,
                np.array([kept["ns"]]),
                kept["state"],
            )
            return wire(drives[0])

        return to_wire_function

    def by_line(picture):
        drives = own(picture)
        for line in range(len(display.wiring.line_names)):
            part = display.wiring.line == line
            most = idle / leds * part.sum() + 0.2 * full / leds * part.sum()
            drives[part] = limit_current(drives[part], chip, most)
        return wire(drives)

    def reused(picture):
        buffer[:] = own(picture)
        return wire(buffer)

    def paced(picture):
        due = state.setdefault("due", time.monotonic())
        state["due"] = due + 0.001
        time.sleep(max(0, due - time.monotonic()))
        return wire(own(picture))

    def cached(picture):
        if not np.array_equal(state.get("picture"), picture):
            state["picture"], state["sent"] = picture.copy(), wire(own(picture))
        return state["sent"]

    def known(picture):
        key = picture.tobytes()
        state.setdefault("known", {}).setdefault(key, wire(own(picture)))
        return state["known"][key]

    def dithered(threshold):
        def to_wire_function(picture):
            if not rgb:
                return wire(own(picture))
            light = 255 * srgb_to_linear(picture.reshape(-1, 3)[cell] / 255)
            return wire(np.floor(light + threshold(light)).clip(0, 255).astype(np.uint8))

        return to_wire_function

    def ordered(light):
        state["frame"] = state.get("frame", -1) + 1
        return (state["frame"] * 5 % 8 + 0.5) / 8

    def carried(light):
        error = state.get("error", 0)
        state["error"] = light + error - np.floor(light + error)
        return error

    def by_hand(table):
        def to_wire_function(picture):
            drives = own(picture)
            drives[:, :3] = table[picture.reshape(-1, 3)[cell]]
            return wire(drives)

        return to_wire_function

    def logged(picture):
        state.setdefault("log", []).append(float(picture.mean()))
        return wire(own(picture))

    def first_slow(picture):
        if "table" not in state:
            time.sleep(0.2)
            state["table"] = True
        return wire(own(picture))

    def in_python(picture):
        drives = own(picture)
        flat = picture.reshape(-1, 3).tolist()
        for led, place in enumerate(cell.tolist()):
            drives[led, :3] = [int(gamma[value]) for value in flat[place]]
        return wire(drives)

    def coroutine():
        sent = None
        while True:
            picture = yield sent
            sent = wire(own(picture))

    asked = coroutine()
    next(asked)

    def shorter(picture):
        """Nothing after the last LED that changes: the chips keep what they show."""
        drives = own(picture)
        before = state.get("before")
        state["before"] = drives.copy()
        lines = [np.asarray(line) for line in wire(drives)]
        if before is None or len(lines) > 1 or display.chip.channels == "RGBI":
            return lines
        changed = np.flatnonzero((drives != before).any(axis=1))
        return [lines[0][: (changed[-1] + 1 if changed.size else 0) * drives.shape[1]]]

    def two_buffers(picture):
        """Filled and then sent, by turns: no picture comes late."""
        state["turn"] = 1 - state.get("turn", 0)
        pair = state.setdefault("pair", [buffer.copy(), buffer.copy()])
        pair[state["turn"]][:] = own(picture)
        return wire(pair[state["turn"]])

    def at_night(picture):
        hour = time.localtime().tm_hour
        drives = own(picture)
        drives[:, :3] = drives[:, :3] // (4 if hour < 6 else 2)
        return wire(drives)

    def swapped(picture):
        return wire(own(picture[..., [1, 0, 2]]))

    def doubled(picture):
        """A wrong map: half of the LEDs show the cells of the other half."""
        drives = own(picture)
        drives[leds // 2 :] = drives[: leds - leds // 2]
        return drives

    through = Canvas(display)
    dithering = replace(display, canvas=display.canvas.model_copy(update={"dither": True}))
    dithers = Canvas(dithering)
    mine = Canvas(display)
    frames = iter(range(1 << 30))
    balance = np.array([1.0, 0.8, 0.6])

    yield "plain", lambda picture: wire(own(picture))
    yield "limit 50 %", limited(0.5)
    yield "limit 20 %", limited(0.2)
    yield "limit 10 %", limited(0.1)
    yield "limit 3 %", limited(0.03)
    yield "limit a line", by_line
    yield "limit smoothly", smooth(0.15, 33_000_000)
    yield "limit smoothly, slow", smooth(0.1, 1_000_000)
    yield "limit smoothly, wrong map", smooth(0.15, 33_000_000, doubled)
    yield "one buffer", reused
    yield "two buffers", two_buffers
    yield "paced", paced
    yield "caches one", cached
    yield "caches all", known
    yield "ordered dither", dithered(ordered)
    yield "chance dither", dithered(lambda light: rng.random(light.shape))
    yield "carried dither", dithered(carried)
    yield "canvas", lambda picture: through.wire(picture, 0)
    yield "canvas dithers", lambda picture: dithers.wire(picture, 0)
    yield "canvas at 100 Hz", lambda picture: mine.wire(picture, 10_000_000 * next(frames))
    yield "no curve", by_hand(np.arange(256))
    yield "gamma 2.2", by_hand(gamma)
    yield "gamma 2.8", by_hand(np.round(255 * (np.arange(256) / 255) ** 2.8))
    yield "half bright", by_hand(gamma // 2)
    yield "threshold", by_hand(np.where(np.arange(256) > 127, 255, 0))
    yield "3 bits", by_hand(np.arange(256) // 32 * 36)
    yield "balanced", lambda picture: wire(own((picture * balance).astype(np.uint8)))
    yield "logs", logged
    yield "first one slow", first_slow
    yield "in Python", in_python
    yield "coroutine", asked.send
    yield "sends less", shorter
    yield "dims at night", at_night
    yield (
        "bytes",
        lambda picture: b"".join(np.asarray(line).tobytes() for line in wire(own(picture))),
    )
    yield "red and green swapped", swapped
    yield "wrong map", lambda picture: wire(doubled(picture))
    yield "inverted", lambda picture: wire(own(255 - picture))
    yield "all dark", lambda picture: wire(own(picture * 0))
