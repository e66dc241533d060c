"""What the measuring pictures show: dimming, gain of each LED, response of each channel.

Everything is in drive steps, linear in light: 255 is one channel at full. A common intensity (RGBI)
scales them; a white channel (RGBW) is kept beside red, green and blue.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Bools, Floats, Ints
from harness.measure.pictures import DARK, HALF, WHITE, MeasuringPictures

_PLATEAU = 0.2  # share of the LEDs that must agree; the others are compared with these
_ALIKE = 0.015  # of the light, and one drive step: as near as rounding brings LEDs that agree
_NEAR = 0.25  # an LED with another gain is left out of the responses, if enough remain
_OFF = 0.5  # share of its levels at which an LED does not show what others do
_AGREE = 0.6  # share of what single channels showed that must agree
_AGREE_WELL = 0.97  # the same, where a few LEDs may differ
_FEW_MARKS = 6  # light values of references: fewer give no median
_COARSE = 33  # different lights, of 5 bits
_TOLD_BY = 192  # LEDs: at least three of them show each level
_AT_ONCE = 1 << 17  # LEDs that are compared with each other; bounds the memory
_MOST_TELLING = 1 << 15  # LEDs: more would not make the responses better
_SMALLEST = 0.4  # share of the LEDs that are enough


@dataclass(frozen=True)
class Shown:
    """What N LEDs showed for the measuring pictures, with channels in the order of their answers.

    pictures: (T, …). cell: (N,) place of the cell each LED shows among those of the pictures;
    -1 if it is not known. steps: (T, N, C) drive steps of red, green, blue and, if there is one,
    white, as they were sent. half_meant: (3,) drive steps meant at half grey. order: output channel
    of red, green, blue. noise: drive steps, up and down, by which answers to the same picture may
    differ.
    """

    pictures: MeasuringPictures
    cell: Ints
    steps: NDArray[np.floating]
    half_meant: Floats
    order: tuple[int, int, int] = (0, 1, 2)
    noise: float = 0.0

    @cached_property
    def alike(self) -> Bools:
        """(N,) LEDs whose channels answer in this order, like those of most LEDs."""
        own = self._at_full
        strongest = self.steps[:3, :, :3].max(axis=-1).T
        alike: Bools = (own >= 0.5 * strongest).all(axis=-1)
        return alike if 2 * alike.sum() >= len(alike) else np.ones(len(alike), dtype=np.bool_)

    @cached_property
    def answers(self) -> Bools:
        """(N,) LEDs whose light changes from picture to picture; all if none does.

        An LED that is dark or always lit does not show levels.
        """
        changes: Bools = (self.steps != self.steps[:1]).any(axis=(0, 2))
        return changes if changes.any() else ~changes

    @cached_property
    def known(self) -> Bools:
        """(N,) LEDs whose cell is known, and whose channels answer like those of most LEDs."""
        return (self.cell >= 0) & self.alike & self.answers

    @cached_property
    def levels(self) -> NDArray[np.uint8]:
        """(T, N, 3) sRGB of each LED's cell; dark if it is not known."""
        levels = self.pictures.values[:, self.cell]
        levels[:, ~self.known] = 0
        return levels

    @cached_property
    def marks(self) -> Bools:
        """(T, N) LEDs that show a reference."""
        marks = self.pictures.references[:, self.cell]
        marks[:, ~self.known] = False
        return marks

    @cached_property
    def dimming(self) -> Floats:
        """(T,) light of each picture's references, as a share of what they show alone."""
        alone = self.pictures.alone
        found = np.ones(len(alone))
        for t in np.flatnonzero(alone >= 0):
            own = self.marks[t]
            before = self.steps[alone[t]][own]
            usable = before > 20
            if usable.any():
                ratio = self.steps[t][own][usable] / before[usable]
                found[t] = np.median(ratio)
                if len(ratio) <= _FEW_MARKS and np.ptp(ratio) > 0.03:  # one mixes in a neighbour
                    found[t] = ratio[np.abs(ratio - 1).argmin()]
        found[np.abs(found - 1) < 0.006] = 1.0  # a drive step of 255 and a half
        return np.maximum(found, 1e-3)

    @property
    def channels(self) -> list[int]:
        """The output channels in which red, green and blue come out, and W."""
        return [*self.order, *range(3, self.steps.shape[-1])]

    def light_in(self, picture: int, leds: slice = slice(None)) -> Floats:
        """(n, C) steps of some LEDs as if the picture were not dimmed; in the order R G B."""
        steps = self.steps[picture, leds][:, self.channels]
        return np.asarray(steps / np.float64(self.dimming[picture]))

    def even_in(self, picture: int, leds: slice = slice(None)) -> Floats:
        """(n, C) the same with the gain of each LED removed."""
        light, gain = self.light_in(picture, leds), self._known_gain[leds]
        light[:, :3] /= gain
        light[:, 3:] /= gain.mean(axis=-1, keepdims=True)
        return light

    @cached_property
    def _known_gain(self) -> Floats:
        """(N, 3) the gain, or 1 where it is too small to say."""
        return np.where(self.gain > 0.02, self.gain, 1.0)

    @cached_property
    def gain(self) -> Floats:
        """(N, 3) light of each LED's channels at full, as a share of the rest."""
        return _shares(self._at_full, self.plateaus)

    @cached_property
    def half_gain(self) -> Floats:
        """(N, 3) light at half grey, as a share of the rest, with the gain at full removed."""
        return _shares(self._at_half, self.half_plateaus)

    @cached_property
    def plateaus(self) -> Floats:
        """(3,) what most LEDs show at full in each channel; `gain` is relative to it."""
        return np.array([plateau(part) for part in self._at_full[self.alike & self.answers].T])

    @cached_property
    def half_plateaus(self) -> Floats:
        """(3,) what most LEDs show at half grey, in the picture as it was sent."""
        own = self.alike & self.answers
        found = zip(self._at_half[own].T, self.half_meant.tolist(), strict=True)
        return np.array([plateau(part, meant) for part, meant in found])

    @cached_property
    def _at_full(self) -> Floats:
        return np.stack([self.steps[c, :, self.order[c]] for c in range(3)], axis=-1)

    @cached_property
    def _at_half(self) -> Floats:
        half = self.light_in(HALF)
        light = half[:, :3] + half[:, 3:].sum(axis=-1, keepdims=True)
        return np.asarray(light / self._known_gain)

    @cached_property
    def glowing(self) -> Bools:
        """(N,) LEDs that show light in the dark picture, more than most LEDs."""
        dark = self.steps[DARK]
        glows: Bools = (dark - np.median(dark[self.alike], axis=0) > 0.5 + self.noise).any(axis=-1)
        return glows if 2 * glows.sum() <= len(glows) else np.zeros(len(glows), dtype=np.bool_)

    @cached_property
    def fitted(self) -> Bools:
        """(N,) LEDs like most others; the responses are measured on these."""
        known = self.known & ~self.glowing
        near = known & (np.abs(self.gain - 1) < _NEAR).all(axis=-1)
        if near.sum() < _SMALLEST * self.known.sum():
            near = known & (self.gain > 0.1).all(axis=-1)
        steady = near & (np.abs(self.half_gain - 1) < _NEAR).all(axis=-1)
        own = steady if steady.sum() >= _SMALLEST * near.sum() else near
        return own & ~self._odd(own) if not self.doubtful(own) else own

    def _odd(self, leds: Bools) -> Bools:
        """(N,) those of these LEDs that are off at nearly every level.

        Their cell was read wrongly, or they mix two cells.
        """
        odd = np.zeros(len(leds), dtype=np.bool_)
        for begin in range(0, len(leds), _AT_ONCE):
            part = slice(begin, begin + _AT_ONCE)
            number, off = self._beside(leds, part)
            count = np.maximum(np.bincount(number, minlength=len(leds[part])), 1)
            odd[part] = np.bincount(number[off], minlength=len(leds[part])) > _OFF * count
        return leds & odd

    def doubtful(self, leds: Bools) -> bool:
        """Whether more than a quarter of these LEDs (N,) do not show what the others show."""
        return bool(4 * self._odd(leds).sum() > leds.sum())

    @cached_property
    def told_by(self) -> Bools:
        """(N,) the fitted LEDs, or so many of them by chance that tell the responses."""
        share = _MOST_TELLING / max(int(self.fitted.sum()), 1)
        return self.fitted & (np.random.default_rng(1).random(len(self.fitted)) < share)

    def _of(
        self, kind: Bools, leds: Bools, part: slice = slice(None)
    ) -> tuple[Ints, NDArray[np.uint8], Floats]:
        """Readings of some LEDs (N,) of a part in pictures of a kind, picture by picture.

        Returns the number of the LED in the part (K,), levels (K, 3) and even light (K, C).
        """
        found = [(np.zeros(0, np.int64), self.levels[0, :0], self.even_in(0, slice(0)))]
        for t in np.flatnonzero(kind).tolist():
            own = np.flatnonzero(leds[part] & ~self.marks[t, part])
            found.append((own, self.levels[t, part][own], self.even_in(t, part)[own]))
        numbers, levels, light = zip(*found, strict=True)
        return np.concatenate(numbers), np.concatenate(levels), np.concatenate(light)

    @cached_property
    def single(self) -> tuple[NDArray[np.uint8], Floats]:
        """Levels (K, 3), one channel lit, and light (K, C)."""
        return self._of(self.pictures.single, self.told_by)[1:]

    @cached_property
    def grey(self) -> tuple[NDArray[np.uint8], Floats]:
        """Levels (K, 3), the same in all three channels, and light (K, C)."""
        return self._of(self.pictures.grey, self.told_by)[1:]

    @cached_property
    def mixed(self) -> tuple[NDArray[np.uint8], Floats]:
        """Levels (K, 3) at random, and light (K, C)."""
        return self._of(self.pictures.mixed, self.told_by)[1:]

    @cached_property
    def response(self) -> Floats:
        """(3, 256, C) light of each output channel when one channel is at a level alone.

        The median over the LEDs that showed it; if none did, a straight line between the levels
        beside it. Level 0 is the dark picture.
        """
        levels, light = self.single
        table = np.zeros((3, 256, light.shape[-1]))
        for channel in range(3):
            own = levels[:, channel] > 0
            for out in range(light.shape[-1]):
                found = medians(levels[own, channel], light[own, out], 256)
                table[channel, :, out] = _filled(found, self.black[out])
        return table

    @cached_property
    def greys(self) -> Floats:
        """(256, C) the same for each grey."""
        levels, light = self.grey
        outs = [
            _filled(medians(levels[:, 0], light[:, c], 256), self.black[c])
            for c in range(light.shape[-1])
        ]
        return np.stack(outs, axis=-1)

    @cached_property
    def black(self) -> Floats:
        """(C,) light of the dark picture; of all LEDs if none is fitted."""
        leds = self.fitted if self.fitted.any() else self.answers
        median: Floats = np.median(self.light_in(DARK)[leds], axis=0)
        return median

    @cached_property
    def all_white(self) -> float:
        """Light of an all-white wall, as a share of what its LEDs show if it is not dimmed."""
        ratios: list[float] = []
        for t in np.unique(self.pictures.alone[self.pictures.alone >= 0]):
            own = self.marks[t] & (self.levels[t] == 255).all(axis=-1)
            before = self.steps[t][own].sum(axis=-1)
            lit = before > 20
            ratios.extend((self.steps[WHITE][own].sum(axis=-1)[lit] / before[lit]).tolist())
        return float(np.median(ratios)) if ratios else 1.0

    @cached_property
    def agreement(self) -> float:
        """Share of the known LEDs' single-channel readings near the median of their level."""
        if not self.fitted.any():
            return 0.0
        levels, light = self.single
        told = self.response[levels.argmax(axis=-1), levels.max(axis=-1)]
        room = 2.5 / float(self.dimming[self.pictures.single].min())
        near = (np.abs(light - told) <= room).all(axis=-1)
        return float(near.mean()) if near.size else 0.0

    @cached_property
    def fit(self) -> float:
        """How well the cells fit: the share of known LEDs times their agreement.

        On a small wall, only one LED shows a level and always agrees with itself. There, its
        reading is compared with the levels beside it, which other LEDs show.
        """
        share = float(self.known.mean())
        return share * (1 - self.jumps if self.small else self.agreement)

    @property
    def small(self) -> bool:
        """Whether fewer than three LEDs show each level: too few to agree."""
        return len(self.cell) < _TOLD_BY

    @cached_property
    def jumps(self) -> float:
        """Share of the known LEDs' single-channel readings that do not fit the levels beside."""
        _, off = self._beside(self.fitted, slice(None))
        return float(off.mean()) if off.size else 1.0

    def _beside(self, leds: Bools, part: slice) -> tuple[Ints, Bools]:
        """Compares single-channel readings of some LEDs (N,) of a part with the levels beside.

        Returns the LED of each reading (K,), from the part's first on, and whether it is off the
        straight line between the readings at the two levels beside it (K,).
        """
        number, levels, light = self._of(self.pictures.single, leds, part)
        room = 2.5 / float(self.dimming[self.pictures.single].min())
        found: list[tuple[Ints, Bools]] = [(number[:0], np.zeros(0, dtype=np.bool_))]
        for channel in range(3):
            own = np.flatnonzero(levels[:, channel] > 0)
            own = own[levels[own, channel].argsort(kind="stable")]
            at, shown = levels[own, channel].astype(np.float64), light[own, channel]
            low, high = at[:-2], at[2:]
            weight = np.where(high > low, (at[1:-1] - low) / np.maximum(high - low, 1), 0.5)
            told = shown[:-2] * (1 - weight) + shown[2:] * weight
            off = np.abs(shown[1:-1] - told) > room + 0.03 * told
            found.append((number[own[1:-1]], off))
        numbers, offs = zip(*found, strict=True)
        return np.concatenate(numbers), np.concatenate(offs)

    @property
    def widest(self) -> int:
        """Most levels in a row, of a channel or grey, that no LED shows; times 3 at the end."""
        levels, (greys, _) = self.single[0], self.grey
        there = [np.unique(own) for own in (*levels.T, greys[:, 0])]
        there = [np.append(own, 0) if not own.size else own for own in there]
        inside = max(int(np.diff(t, prepend=0).max()) - 1 for t in there)
        return max(inside, *(3 * (255 - int(t[-1])) for t in there))

    @cached_property
    def coarse(self) -> int | None:
        """How many different levels of light a channel shows, if each level is mixed from a few.

        Dithering to a few bits does this. None if LEDs at one level agree, or there are many.
        """
        levels, light = self.single
        if self.agreement > _AGREE_WELL or not len(levels):
            return None
        own = light[np.arange(len(levels)), levels.argmax(axis=-1)]
        count = len(np.unique(np.round(own)))
        return count if count <= _COARSE else None

    @property
    def scattered(self) -> bool:
        """Whether LEDs with the same level mostly do not show the same."""
        return not self.small and self.agreement < _AGREE


def medians(bins: NDArray[np.integer], values: Floats, count: int) -> Floats:
    """(count,) the median of the values (K,) in each bin (K,); NaN in an empty one."""
    order = np.lexsort((values, bins))
    sorted_values = values[order]
    ends = np.cumsum(np.bincount(bins, minlength=count))
    sizes = np.diff(ends, prepend=0)
    found = np.full(count, np.nan)
    full = sizes > 0
    starts = (ends - sizes)[full]
    low, high = starts + (sizes[full] - 1) // 2, starts + sizes[full] // 2
    found[full] = (sorted_values[low] + sorted_values[high]) / 2
    return found


def _filled(table: Floats, black: float) -> Floats:
    """A table (256,) with its black, and straight lines over the levels that are NaN."""
    table[0] = black
    there = np.flatnonzero(np.isfinite(table))
    last = int(there[-1])
    if 0 < last < 255:  # go on as steeply as before, over enough levels that rounding is small
        before = int(there[np.searchsorted(there, max(last - 8, 0), "right") - 1])
        slope = (table[last] - table[before]) / (last - before)
        table[255] = np.clip(table[last] + slope * (255 - last), 0, max(255.0, table[last]))
        there = np.append(there, 255)
    return np.interp(np.arange(256), there, table[there])


def _shares(light: Floats, whole: Floats) -> Floats:
    """Light (N, 3) as a share of the whole (3,); 1 where that is dark."""
    return np.where(whole > 0.5, light / np.maximum(whole, 0.5), 1.0)


def plateau(values: Floats, near: float = np.inf) -> float:
    """The value nearest to `near` on which a fifth of the values (K,) agree.

    It is what most LEDs show if a few differ, and the brightest part if many are dimmed. If no
    fifth agrees, it is the value that 98 % of them stay below.
    """
    if not values.size:
        return 0.0
    ordered = np.sort(values).astype(np.float64)
    within = _ALIKE * np.abs(ordered) + 1
    first = np.searchsorted(ordered, ordered - within, "left")
    last = np.searchsorted(ordered, ordered + within, "right")
    agree = np.flatnonzero(last - first >= max(_PLATEAU * len(ordered), 1))
    if not agree.size:
        return float(np.quantile(ordered, 0.98))
    best = agree[-1] if near == np.inf else agree[np.abs(ordered[agree] - near).argmin()]
    return float(np.median(ordered[first[best] : last[best]]))
