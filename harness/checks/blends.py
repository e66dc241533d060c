"""Reports LEDs that mix cells of the picture: groups of LEDs that mix the same way, and shares."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Floats, Ints
from harness.checks.leds import place
from harness.measure.blend import LEAST_SHARE, Blend
from harness.measure.measured import Measured
from harness.result.finding import Finding
from harness.result.words import joined, many

_SAME = 0.03  # shares closer than this are the same
_GROUPS, _MOST_GROUPS = 5, 24  # reported one by one; searched for a main group
_FAR = 3  # cells: further than any LED mixes
_SEEDS = 24  # LEDs tried as the start of a group; the one with most LEDs like it wins
_MUCH = 0.1  # of other cells: more is a fault, less a warning
_WIRE = 0.5  # of the LEDs left over by the grid may be left over by the wire
_EXAMPLES = 3

Offset = tuple[int, ...]  # (columns to the right, rows down) in the grid, (LEDs on,) on the wire

_NAMES: dict[Offset, str] = {
    (0, 0): "its own cell", (0,): "its own cell",
    (1, 0): "the cell to its right", (-1, 0): "the cell to its left",
    (0, 1): "the cell below", (0, -1): "the cell above",
    (1,): "the cell of the LED after it on the wire",
    (-1,): "the cell of the LED before it on the wire",
}  # fmt: skip
_SETS: dict[frozenset[Offset], str] = {
    frozenset({(1, 0), (-1, 0)}): "each of the cells to its left and right",
    frozenset({(0, 1), (0, -1)}): "each of the cells above and below",
    frozenset({(1, 0), (-1, 0), (0, 1), (0, -1)}): "each of the 4 cells beside, above and below it",
    frozenset({(1, 1), (-1, 1), (1, -1), (-1, -1)}): "each of the 4 cells at its corners",
    frozenset((x, y) for x in (-1, 0, 1) for y in (-1, 0, 1) if x or y): (
        "each of the 8 cells around it"
    ),
    frozenset({(1,), (-1,)}): "each of the cells of the LEDs before and after it on the wire",
}


@dataclass(frozen=True)
class _Signatures:
    """shares: (N, D) of the cells at D offsets from each LED's own. around: whether offsets wrap
    round at the edges.
    """

    offsets: tuple[Offset, ...]
    shares: Floats
    around: bool = False

    def like(self, leds: Ints, led: int) -> NDArray[np.bool_]:
        return np.asarray((np.abs(self.shares[leds] - self.shares[led]) <= _SAME).all(axis=1))

    def largest(self, leds: Ints) -> Ints:
        """The largest group among these LEDs that mix the same way."""
        seeds = leds[np.linspace(0, leds.size - 1, min(leds.size, _SEEDS)).round().astype(int)]
        return max((leds[self.like(leds, int(seed))] for seed in seeds), key=len)

    def groups(self, leds: Ints) -> Iterator[Ints]:
        while leds.size:
            group = self.largest(leds)
            yield group
            leds = np.setdiff1d(leds, group)

    def sentence(self, group: Ints, own: bool) -> str:
        """'each LED shows 70% of its own cell and 30% of the cell to its right'."""
        shares = self.shares[group].mean(axis=0)
        left = [n for n in np.argsort(-np.abs(shares)).tolist() if abs(shares[n]) > LEAST_SHARE]
        parts = []
        while left:
            like = [n for n in left if abs(shares[n] - shares[left[0]]) <= _SAME / 2]
            left = [n for n in left if n not in like]
            offsets = [self.offsets[n] for n in like]
            mean = float(np.mean(shares[like]))
            plain = [offset for offset in offsets if not any(offset)]
            beside = frozenset(offset for offset in offsets if any(offset))
            names = [*(_name(offset) for offset in plain)]
            names += [_SETS[beside]] if beside in _SETS else sorted(_name(o) for o in beside)
            sign = "less " if mean < 0 else ""
            each = " each" if len(names) > 1 else ""
            parts.append(f"{sign}{abs(mean):.0%}{each} of {joined(names)}")
        said = f"each LED shows {joined(parts) if len(parts) < 3 else '; '.join(parts)}"
        if self.around:
            said += "; at the edges it wraps round"
        return said if own else said.replace("its own cell", "the cell named above")


def blend_findings(measured: Measured, base: Ints) -> Iterator[Finding]:
    """What LEDs mix, by offsets from the cell `base` (N,) that each is reported to show."""
    blend = measured.blend
    if blend is None:
        return
    wiring = measured.display.wiring
    leds = np.flatnonzero(blend.leds)
    signs = _plainest(measured, blend, base, leds)
    groups = []
    for group in signs.groups(leds):
        groups.append(group)
        if len(groups) > _MOST_GROUPS:
            break
    told = groups
    if len(groups) > _GROUPS:
        told = [g for g in groups if _is_main(g, leds, signs, measured, base)][:1]
    own = np.argsort(np.argsort(wiring.cell))
    for group in told:
        what = signs.sentence(group, bool((base[group] == own[group]).all()))
        where = "all LEDs" if len(group) == len(wiring) else place(group, wiring)
        if len(group) == 1:
            what = what.replace("each LED", where, 1)
        elif len(group) < len(wiring):
            what = f"{where}: {what}"
        yield _finding(what, where, group, measured, blend, base)
    rest = np.setdiff1d(leds, np.concatenate([*told, leds[:0]]))
    if rest.size:
        shares = np.where(blend.cells == base[:, None], blend.shares, 0.0).sum(axis=1)[rest]
        low, high = f"{shares.min():.0%}", f"{shares.max():.0%}"
        own_share = low if low == high else f"{low} to {high}"
        other = "the other LEDs that mix cells show" if told else "LEDs mix cells: they show"
        what = f"{other} {own_share} of their own cell, and nearby cells in shares that differ"
        yield _finding(f"{what} from LED to LED", place(rest, wiring), rest, measured, blend, base)
    unclear = np.flatnonzero(blend.unclear)
    if unclear.size:
        where = place(unclear, wiring)
        yield Finding(
            "map",
            f"{where}: neither one cell nor a mixture of cells explains what is shown",
            where,
            f"{many(len(unclear))} of {len(wiring)}; they may mix cells as others do, or be wrong"
            " in another way: the pictures do not say",
            "fix the LEDs that mix cells first, then check again.",
            "warning",
            leds=tuple(unclear.tolist()),
        )


def _plainest(measured: Measured, blend: Blend, base: Ints, leds: Ints) -> _Signatures:
    """Shares by the grid; or wrapped at its edges, or by the wire, if more LEDs match then."""
    grid, wrapped = (_by_grid(measured, blend, base, around) for around in (False, True))
    wire = _by_wire(measured, blend, base)
    over = [len(leds) - len(signs.largest(leds)) for signs in (grid, wrapped, wire)]
    if over[2] < _WIRE * min(over[:2]):
        return wire
    return wrapped if over[1] < over[0] else grid


def _is_main(group: Ints, leds: Ints, signs: _Signatures, measured: Measured, base: Ints) -> bool:
    """Whether this group has half of the LEDs that mix, or only LEDs at an edge are missing."""
    if 2 * len(group) >= len(leds):
        return True
    rest = np.setdiff1d(leds, group)
    lacks = np.zeros(rest.size, dtype=np.bool_)
    gap = measured.display.gap
    row, column = np.divmod(np.flatnonzero(~gap.reshape(-1))[base[rest]], gap.shape[1])
    held = np.pad(~gap, _FAR)
    for number, offset in enumerate(signs.offsets):
        if len(offset) == 2 and abs(signs.shares[group[0], number]) > LEAST_SHARE:
            right, down = np.clip(offset, -_FAR, _FAR)
            lacks |= ~held[row + _FAR + down, column + _FAR + right]
    return bool(lacks.all())


def _by_grid(measured: Measured, blend: Blend, base: Ints, around: bool) -> _Signatures:
    """Shares by columns to the right and rows down; or the shortest way around the edges."""
    gap = measured.display.gap
    row, column = np.divmod(np.flatnonzero(~gap.reshape(-1)), gap.shape[1])
    offsets = np.stack(
        [
            column[blend.cells] - column[base][:, None],
            row[blend.cells] - row[base][:, None],
        ],
        axis=-1,
    )
    if around:
        size = np.array(gap.shape[::-1])
        shorter = (offsets + size // 2) % size - size // 2
        offsets = np.where(np.abs(shorter) == 1, shorter, offsets)
    return _signatures(offsets, blend, around)


def _by_wire(measured: Measured, blend: Blend, base: Ints) -> _Signatures:
    """Shares by LEDs further on along the wire."""
    led = np.argsort(np.argsort(np.argsort(measured.display.wiring.cell)))
    return _signatures((led[blend.cells] - led[base][:, None])[..., None], blend)


def _signatures(offsets: Ints, blend: Blend, around: bool = False) -> _Signatures:
    shows = (blend.cells >= 0) & (blend.shares != 0) & blend.leds[:, None]
    there, which = np.unique(offsets[shows], axis=0, return_inverse=True)
    shares = np.zeros((len(blend.leds), len(there)))
    np.add.at(shares, (np.nonzero(shows)[0], which.reshape(-1)), blend.shares[shows])
    told = tuple(tuple(int(n) for n in offset) for offset in there)
    return _Signatures(told, shares, around)


def _name(offset: Offset) -> str:
    if offset in _NAMES:
        return _NAMES[offset]
    if len(offset) == 1:
        way = "after" if offset[0] > 0 else "before"
        return f"the cell of the LED {abs(offset[0])} {way} it on the wire"
    right, down = offset
    if abs(right) == abs(down) == 1:
        return f"the cell {'below' if down > 0 else 'above'} and to the {_side(right)}"
    across = f"{abs(right)} to the {_side(right)}"
    along = f"{abs(down)} {'down' if down > 0 else 'up'}"
    return f"the cell {' and '.join(([across] if right else []) + ([along] if down else []))}"


def _side(right: int) -> str:
    return "right" if right > 0 else "left"


def _finding(
    what: str, where: str, leds: Ints, measured: Measured, blend: Blend, base: Ints
) -> Finding:
    wiring = measured.display.wiring
    cells = np.flatnonzero(~measured.display.gap.reshape(-1))
    chosen = leds[np.linspace(0, leds.size - 1, min(leds.size, _EXAMPLES)).round().astype(int)]
    columns = measured.display.grid.columns
    examples = []
    for led in np.unique(chosen).tolist():
        shown = [
            f"{share:.0%} of column {cells[cell] % columns}, row {cells[cell] // columns}"
            for cell, share in zip(blend.cells[led], blend.shares[led], strict=True)
            if abs(share) > LEAST_SHARE
        ]
        examples.append(f"{place(np.array([led]), wiring)}: {', '.join(shown)}")
    own = np.where(blend.cells == base[:, None], blend.shares, 0.0).sum(axis=1)[leds]
    others = np.abs(blend.shares[leds]).sum(axis=1) - np.abs(own)
    added = "light" if blend.domain == "light" else "levels, before the curve"
    return Finding(
        "map",
        what,
        where,
        f"{many(len(leds))} of {len(wiring)}, by least squares in {added}; {'; '.join(examples)}",
        "look for a blur, a change of size, anti-aliasing or an average between the picture and the"
        " LEDs: each LED must show one cell. Fix that first: colours and levels of these LEDs can"
        " only be judged afterwards.",
        "fault" if max(others.max(), (1 - own).max()) >= _MUCH else "warning",
        leds=tuple(leds.tolist()),
    )
