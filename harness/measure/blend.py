"""LEDs that mix cells of the picture: which cells, and in which shares.

A blurred, resampled or averaged picture makes an LED show a sum of cells, in light or in levels
before the curve. The measuring pictures are random, so least squares finds each LED's shares of the
cells around its own and of the LEDs beside it on the wire. A mixture counts only if it explains
everything that the LED showed, and no single cell does.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import product
from typing import Literal

import numpy as np

from emulator.arrays import Bools, Floats, Ints
from emulator.description.display import Display
from harness.measure.laws import meant_steps
from harness.measure.measurement import Shown
from harness.measure.pictures import BLUE, GREEN, HALF, RED, WHITE

Domain = Literal["light", "levels"]

LEAST_SHARE = 0.012  # a smaller share is rounding, or noise of one drive step
_MOST_OWN = 0.9  # of the largest share: an own cell with so much counts as shown most
_OTHERS = 0.035  # sum of the shares of other cells, or part of one cell missing: a mixture
_REACH = 2  # cells, and LEDs along the wire, on each side of an LED's own
_ROOM, _PART = 3.0, 0.02  # drive steps, and share of the light: rounding twice, noise of one step
_FITS = 0.97  # share of what an LED showed that must be explained
_TELLS_MORE = 0.5  # residual, relative to that of the best single cell
_ALIKE = 0.03  # gains that differ by less are the same, except for rounding
_LIT, _LEAST_LIT = 20.0, 8  # drive steps that count as light; frames that must have it
_PILOTS = 48  # LEDs tried first: if none of them mixes, none does
_SURE = 4.0  # standard errors: a smaller share is chance
_FOLDS = 3  # one part of the pictures is left out and foretold by the others, in turn
_ROUNDS = 5  # of least squares, each around the light predicted by the one before
_AT_ONCE = 256  # LEDs, so that memory stays small


@dataclass(frozen=True)
class Blend:
    """leds: (N,) LEDs that mix cells. cells: (N, K) places of the cells each may show, -1 for
    none; shares: (N, K) of each, 0 where it shows nothing of it.

    domain: where shares add up, in light or in levels before the curve. unclear: (N,) LEDs of which
    the pictures say neither one cell nor a mixture; they may mix cells too.
    """

    leds: Bools
    cells: Ints
    shares: Floats
    domain: Domain
    unclear: Bools

    @property
    def doubtful(self) -> Bools:
        """(N,) LEDs that mix cells, or may."""
        return self.leds | self.unclear

    def base(self, own: Ints) -> Ints:
        """(N,) the cell relative to which the shares are described.

        own: (N,) each LED's own cell. It is used if most LEDs show some of it, because then the map
        is right; else the cell shown most.
        """
        mine = self.cells == own[:, None]
        own_share = np.where(mine, self.shares, 0.0).sum(axis=1)
        most = self.shares.max(axis=1)
        kept = own_share >= _MOST_OWN * most
        if 2 * np.count_nonzero(own_share[self.leds] > 0) >= np.count_nonzero(self.leds):
            kept = mine.any(axis=1)
        first = self.cells[np.arange(len(own)), self.shares.argmax(axis=1)]
        return np.where(kept | ~self.leds, own, first)


def tells(display: Display, shown: Shown, cell: Ints) -> Bools:
    """(N,) whether one cell (N,) for each LED explains what it shows, except for a factor."""
    return _Model(display, shown).one_cell(cell)


def borrowed(display: Display, shown: Shown) -> float:
    """Share of a neighbour in the light of channels that an LED's own cell leaves dark.

    If it is nearly all, the code selects instead of adding: the brighter of two cells, the middle
    one of three. 0 if there is little such light.
    """
    model = _Model(display, shown)
    own = np.argsort(np.argsort(display.wiring.cell))
    cell = np.where(shown.cell >= 0, shown.cell, own)
    leds = np.flatnonzero(~model.one_cell(cell) & ~model.one_cell(own))
    return model.of_neighbours(leds, cell[leds], _around(display, cell)[leds])


def find_blend(display: Display, shown: Shown) -> Blend | None:
    """The mixtures that explain what LEDs show; None if no LED, or hardly any, mixes cells."""
    own = np.argsort(np.argsort(display.wiring.cell))
    model = _Model(display, shown)
    open_ = ~model.one_cell(own)
    read = np.where(shown.cell >= 0, shown.cell, own)
    if open_.any():
        open_[open_] = ~model.one_cell(read, np.flatnonzero(open_))
    left = np.flatnonzero(open_)
    curved = model.one_curve(own, left) | model.one_curve(read, left)
    if 2 * np.count_nonzero(curved) >= left.size:  # fewer can be by chance: some LEDs tell little
        open_[left] = ~curved
    left = np.flatnonzero(open_)
    if not left.size:
        return None
    pilots = left[np.linspace(0, left.size - 1, min(left.size, _PILOTS)).round().astype(int)]
    pilots = np.unique(pilots)
    likeliest = own.copy()
    likeliest[pilots] = model.likeliest(pilots)
    around = [_around(display, base) for base in (own, read, likeliest)]
    domains: tuple[Domain, ...] = ("light", "levels")
    told = {
        domain: sum(int(model.fit(pilots, near, domain)[1].sum()) for near in around)
        for domain in domains
    }
    best = max(domains, key=lambda domain: told[domain])
    if not told[best]:
        return None
    for some in _parts(left):
        likeliest[some] = model.likeliest(some)
    around[2] = _around(display, likeliest)
    cells = np.full((len(own), around[0].shape[1]), -1)
    shares, mixes = np.zeros(cells.shape), np.zeros(len(own), dtype=np.bool_)
    for near in around:
        for some in _parts(np.flatnonzero(~mixes)):
            found, fits = model.fit(some, near, best, dimmed=True)
            cells[some[fits]], shares[some[fits]] = near[some[fits]], found[fits]
            mixes[some[fits]] = True
    unclear = open_ & ~mixes
    if np.count_nonzero(mixes) < np.count_nonzero(unclear):
        return None  # something else changes what LEDs show, and a mixture fits some by chance
    return Blend(mixes, cells, shares, best, unclear)


def _parts(leds: Ints) -> Iterator[Ints]:
    return (leds[begin : begin + _AT_ONCE] for begin in range(0, leds.size, _AT_ONCE))


def _around(display: Display, base: Ints) -> Ints:
    """(N, K) places of the cells around those at `base` (N,), first; then along the wire; -1."""
    held = np.flatnonzero(~display.gap.reshape(-1))
    rows, columns = display.gap.shape
    place = np.full((rows + 2 * _REACH, columns + 2 * _REACH), -1)
    inside = place[_REACH : rows + _REACH, _REACH : columns + _REACH]
    inside[~display.gap] = np.arange(len(held))
    row, column = np.divmod(held[base], columns)
    steps = range(2 * _REACH + 1)
    found = [place[row + down, column + right] for down in steps for right in steps]
    for down, right in product((-1, 0, 1), repeat=2):  # beyond an edge: cells at the opposite edge
        found.append(inside[(row + down) % rows, (column + right) % columns])
    for on in (-1, 1):  # or cells of the row before and after
        found.append(inside.reshape(-1)[(row * columns + column + on) % inside.size])
    wire = np.argsort(np.argsort(display.wiring.cell))  # place of each LED's cell
    led = np.argsort(wire)[base]  # the LED whose cell it is
    for on in (-2, -1, 1, 2):
        beside = led + on
        there = (beside >= 0) & (beside < len(wire))
        found.append(np.where(there, wire[np.clip(beside, 0, len(wire) - 1)], -1))
    cells = np.stack(found, axis=1)
    for n in range(1, cells.shape[1]):  # each but once
        cells[(cells[:, :n] == cells[:, n : n + 1]).any(axis=1), n] = -1
    return cells


class _Model:
    """What LEDs showed, (…, T · 3) drive steps, and what cells would show.

    Tables of all cells are only made if LEDs mix some: for a large wall they take gigabytes.
    """

    def __init__(self, display: Display, shown: Shown) -> None:
        full = shown.half_meant / meant_steps(display.canvas.curve, 1.0)[128]
        gains = shown.plateaus / (255 * full)
        lit = np.ones(len(shown.steps), dtype=np.bool_)
        lit[[WHITE, HALF]] = False  # a limit may dim them, and no mark says so
        if shown.dimming.min() < 1 and gains.max() < 0.99:  # it dims these too
            lit[[RED, GREEN, BLUE]] = False
        self._pictures = np.flatnonzero(lit)
        self._steps, self._order = shown.steps, list(shown.order)
        self._values = shown.pictures.values
        self._dimming = np.minimum(shown.dimming[lit], 1)[:, None, None]
        self._room = _flat(np.broadcast_to(_ROOM / self._dimming, (lit.sum(), 1, 3)))  # (1, T · 3)
        gains = gains / max(gains.max(), 1e-9)
        full = full * (gains if np.ptp(gains) > _ALIKE else 1.0)
        self._tables = np.stack([meant_steps(display.canvas.curve, f) for f in full.tolist()])

    def _came(self, leds: Ints) -> Floats:
        """(n, T · 3) what some LEDs showed."""
        steps = self._steps[np.ix_(self._pictures, leds)].astype(np.float64)
        light = steps[..., self._order]
        if steps.shape[-1] > 3:
            light += steps[..., 3:].sum(axis=-1, keepdims=True)
        return _flat(light / self._dimming)

    def _told(self, cells: Ints) -> Floats:
        """(n, T · 3) what some cells would show."""
        values = self._values[np.ix_(self._pictures, cells)]
        return _flat(self._tables[np.arange(3), values])

    @cached_property
    def _levels(self) -> Floats:
        """(M, T · 3) of all cells."""
        return _flat(self._values[self._pictures].astype(np.float64))

    @cached_property
    def _light(self) -> Floats:
        """(M, T · 3) what all cells would show."""
        return self._told(np.arange(self._values.shape[1]))

    def one_cell(self, cell: Ints, leds: Ints | None = None) -> Bools:
        """(n,) whether one cell (N,) explains what these LEDs show, except for a factor."""
        found = [np.zeros(0, dtype=np.bool_)]
        for some in _parts(np.arange(len(cell)) if leds is None else leds):
            came, told = self._came(some), self._told(cell[some])
            gain = (came * told).sum(axis=1) / np.maximum((told**2).sum(axis=1), 1e-9)
            found.append(self._near(came, gain[:, None] * told))
        return np.concatenate(found)

    def one_curve(self, cell: Ints, leds: Ints) -> Bools:
        """(n,) whether LEDs show one cell (N,), but along another curve, which rises or falls.

        The nearest such curve is the middle between the highest value so far and the lowest still
        to come (isotonic regression in the largest deviation).
        """
        parts = (self._one_curve(cell[some], some) for some in _parts(leds))
        return np.concatenate([np.zeros(0, dtype=np.bool_), *parts])

    def _one_curve(self, cell: Ints, leds: Ints) -> Bools:
        level = self._levels[cell].reshape(len(leds), -1, 3)
        came, room = self._came(leds).reshape(level.shape), self._room.reshape(1, -1, 3)
        order = np.argsort(level, axis=1, kind="stable")
        sorted_, room = (
            np.take_along_axis(np.broadcast_to(a, came.shape), order, axis=1) for a in (came, room)
        )
        follows = np.zeros(len(leds), dtype=np.bool_)
        for values in (sorted_, -sorted_):
            below = np.minimum.accumulate(values[:, ::-1], axis=1)[:, ::-1]
            curve = (np.maximum.accumulate(values, axis=1) + below) / 2
            near = np.abs(values - curve) <= room
            follows |= near.mean(axis=(1, 2)) >= _FITS
        return follows

    def likeliest(self, leds: Ints) -> Ints:
        """(n,) the cell whose light correlates best with what these LEDs show."""
        return np.asarray((self._came(leds) @ self._direction.T).argmax(axis=1))

    @cached_property
    def _direction(self) -> Floats:
        """(M, T · 3) the light of all cells, each of length 1."""
        size = np.maximum(np.sqrt((self._light**2).sum(axis=1)), 1e-9)
        return np.asarray(self._light / size[:, None])

    def of_neighbours(self, leds: Ints, cell: Ints, around: Ints) -> float:
        """Share of the LEDs' light, where their cells (n,) are dark, that cells (n, K) explain."""
        came = self._came(leds)
        lit = (came > _LIT) & (self._levels[cell] == 0)
        if lit.sum() < _LEAST_LIT:
            return 0.0
        which, when = np.nonzero(lit)
        beside = np.where(around[which] >= 0, self._light[around[which], when[:, None]], -1e3)
        off = np.abs(beside - came[which, when][:, None]).min(axis=1)
        return float((off <= self._room[0, when]).mean())

    def _near(self, came: Floats, told: Floats, room: Floats | None = None) -> Bools:
        told = np.clip(told, 0, 255)
        room = self._room if room is None else room
        near = np.abs(came - told) <= room + _PART * told
        return np.asarray(near.mean(axis=1) >= _FITS)

    def fit(
        self, leds: Ints, around: Ints, domain: Domain, dimmed: bool = False
    ) -> tuple[Floats, Bools]:
        """Shares (n, K) of the cells around (N, K), and whether these explain what the LEDs show.

        Only if they mix; or, with `dimmed`, if they show less than all of one cell.
        """
        cells = around[leds]
        used = cells >= 0
        source = self._light if domain == "light" else self._levels
        parts = np.where(used[..., None], source[cells], 0.0)  # (n, K, T · 3)
        came = self._came(leds)
        shares: Floats = np.ones(cells.shape)
        error: Floats = np.zeros(cells.shape)
        for sure in (0.0, _SURE, _SURE, _SURE):  # with all cells, then with those that matter
            used &= np.abs(shares) > np.maximum(LEAST_SHARE, sure * error)
            shares, error = self._solve(parts, came, used, domain)
        shares[~used] = 0.0
        told = self._shine((shares[:, None] @ parts)[:, 0], domain)
        single = np.abs(shares).argmax(axis=1)
        alone = self._light[cells[np.arange(len(leds)), single]]
        gain = (came * alone).sum(axis=1) / np.maximum((alone**2).sum(axis=1), 1e-9)
        left, before = (_rms(came - t) for t in (told, gain[:, None] * alone))
        others = np.abs(shares).sum(axis=1) - np.abs(shares).max(axis=1)
        fits = self._near(came, told) & (left < _TELLS_MORE * before) & (others > _OTHERS)
        if dimmed:
            less = 1 - shares.sum(axis=1) > _OTHERS
            fits |= less & (others == 0) & self._near(came, told)
        fits[fits] = self._foretold(parts[fits], came[fits], used[fits], domain, shares[fits])
        return shares, fits

    def _foretold(
        self, parts: Floats, came: Floats, used: Bools, domain: Domain, begin: Floats
    ) -> Bools:
        """(n,) whether shares from most pictures, round after round, explain the others.

        Enough unrelated cells can fit any data, but not data left out of the fit.
        """
        picture = np.arange(came.shape[1]) // 3
        right = np.ones(len(came), dtype=np.bool_)
        for number in range(_FOLDS):
            out = picture % _FOLDS == number
            shares, _ = self._solve(parts, came, used, domain, ~out, begin)
            told = self._shine((shares[:, None] @ parts)[:, 0], domain)
            right &= self._near(came[:, out], told[:, out], self._room[:, out])
        return right

    def _solve(
        self,
        parts: Floats,
        came: Floats,
        used: Bools,
        domain: Domain,
        chosen: Bools | Literal[1] = 1,
        begin: Floats | None = None,
    ) -> tuple[Floats, Floats]:
        """Shares (n, K) and their standard errors (n, K).

        By weighted least squares around the light predicted so far, which replaces cut-off light.
        chosen: (T · 3,) what counts; all by default. begin: shares (n, K) to begin with.
        """
        shares: Floats = np.zeros(used.shape) if begin is None else begin
        for number in range(0 if begin is None else 1, _ROUNDS):
            told = (shares[:, None] @ parts)[:, 0]
            if domain == "light":
                value, weight = came, np.ones(came.shape)
            elif not number:
                value = self._value(came)
                weight = self._slope(value)
            else:
                weight = self._slope(told)
                value = told + (came - self._shine(told, domain)) / weight
            if number:
                top = 255.0
                over = (told < 0) if domain == "levels" else (told < 0) | (told > top)
                cut = over & ((came <= 0.5) | (came >= top - 0.5))
                weight = np.where(cut, 0.0, weight)
            weight = weight * chosen
            scaled = parts * weight[:, None]
            matrix = scaled @ scaled.transpose(0, 2, 1)
            right = (scaled @ (weight * value)[..., None])[..., 0]
            unused = ~used
            matrix[unused[:, :, None] | unused[:, None]] = 0.0
            matrix[:, np.arange(used.shape[1]), np.arange(used.shape[1])] += unused + 1e-6
            solved = np.linalg.solve(matrix, np.where(used, right, 0.0)[..., None])
            shares = np.asarray(solved[..., 0], dtype=np.float64)
            if domain == "light" and not (came <= 0.5).any():
                break
        left = weight * (value - (shares[:, None] @ parts)[:, 0])
        spare = np.maximum((weight > 0).sum(axis=1) - used.sum(axis=1), 1)
        spread = np.diagonal(np.linalg.inv(matrix), axis1=1, axis2=2)
        error = np.sqrt((left**2).sum(axis=1)[:, None] / spare[:, None] * np.maximum(spread, 0))
        return shares, error

    def _shine(self, told: Floats, domain: Domain) -> Floats:
        """Light (n, T · 3) of what adds up."""
        if domain == "light":
            return np.clip(told, 0, 255)
        return self._each(told, lambda value, table: np.interp(value, np.arange(256), table))

    def _value(self, light: Floats) -> Floats:
        """Levels (n, T · 3) that mean a light."""
        return self._each(light, lambda steps, table: np.interp(steps, table, np.arange(256)))

    def _slope(self, value: Floats) -> Floats:
        """Drive steps a level, at levels (n, T · 3)."""
        return self._each(
            value,
            lambda v, table: np.maximum(np.interp(v, np.arange(256), np.gradient(table)), 0.05),
        )

    def _each(self, values: Floats, change: object) -> Floats:
        found = values.reshape(len(values), values.shape[1] // 3, 3).copy()
        for channel, table in enumerate(self._tables):
            found[..., channel] = change(found[..., channel], table)  # type: ignore[operator]
        return found.reshape(values.shape)


def _flat(stack: Floats) -> Floats:
    """(T, N, 3) as (N, T · 3)."""
    return np.ascontiguousarray(stack.transpose(1, 0, 2).reshape(stack.shape[1], 3 * len(stack)))


def _rms(values: Floats) -> Floats:
    return np.asarray(np.sqrt((values**2).mean(axis=1)))
