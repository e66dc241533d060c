"""Where more feeds go, which wires lead there, and how long those are.

Feeds that the display file lists stay where they are. New ones go to the ends of strips on the side
of the wall along which the bus runs. If there are too few such ends, they go evenly along the
strip. A bus continues along the sides of the wall, round corners (`description.outline`). Without a
bus, the wire to a new feed is taken to pass the nearest feed of known length. So a length is what
is known plus the distance along rows, columns and sides: never too short.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from emulator.description.display import Display
from emulator.description.feeding import LEAST_M, complete_power, islands, long_m
from emulator.description.outline import Cell, Outline, cell_of, nearer_end, round_up_m
from emulator.description.power import BusSection, FeedSection, PowerSection


@dataclass(frozen=True)
class Piece:
    """LEDs `first` … `last`, as positions 0…N-1, that share power.

    kept: positions of the listed feeds. at_side: positions of strip ends without a feed on the
    side of the bus.
    """

    first: int
    last: int
    kept: tuple[int, ...]
    at_side: tuple[int, ...]

    def most(self) -> int:
        """The highest rung of `places`, at which every LED has a feed."""
        return self.last - self.first + 1 - len(self.kept) + bool(self.at_side)

    def places(self, rung: int) -> list[int]:
        """Positions of new feeds at a rung 0, 1, 2 …; no rung has fewer feeds than the last."""
        if rung <= len(self.at_side):
            return self._snapped(_spread(self.first, self.last, self.kept, rung))
        return _spread(self.first, self.last, self.kept, rung - bool(self.at_side))

    def _snapped(self, wanted: list[int]) -> list[int]:
        free = list(self.at_side)
        chosen = []
        for at in wanted:
            near = min(free, key=lambda place: abs(place - at))
            free.remove(near)
            chosen.append(near)
        return sorted(chosen)


def pieces_of(display: Display) -> list[Piece]:
    """The pieces of a display, in the order of the data."""
    wiring, power = display.wiring, display.power
    outline = Outline.of(display.placement, wiring)
    listed = [wiring.line_starts[f.line] + f.led for f in power.feed]
    side = outline.busiest(cell_of(wiring, at) for at in listed)
    found = []
    for numbers in islands(wiring, jumpers=power.jumper is not None):
        runs = [wiring.runs[number] for number in numbers]
        start = wiring.line_starts[runs[0].line]
        first, last = start + runs[0].first, start + runs[-1].last
        kept = sorted({at for at in listed if first <= at <= last})
        ends: list[int] = []
        for run in runs:
            end = start + nearer_end(outline, run, side)
            # At a turn the ends of two strips are side by side: one of them is enough.
            if not any(abs(end - other) <= 1 for other in (*ends[-1:], *kept)):
                ends.append(end)
        found.append(Piece(first, last, tuple(kept), tuple(ends)))
    return found


def _spread(first: int, last: int, kept: Sequence[int], count: int) -> list[int]:
    """`count` more positions, so that the largest distance from an LED to a feed is small."""
    if not count:
        return []
    if not kept:
        middles = (np.arange(count) + 0.5) / count * (last - first + 1) - 0.5
        return sorted({first + int(at) for at in np.round(middles)})
    # The stretches between feeds, and those with one open end: (from, to, weight of the end).
    between = [(a, b, 1.0) for a, b in itertools.pairwise(kept)]
    stretches = [(kept[0], first, 0.5), *between, (kept[-1], last, 0.5)]
    more = [0] * len(stretches)

    def gap(n: int) -> float:
        start, end, open_ = stretches[n]
        return abs(end - start) / (more[n] + open_)

    for _ in range(count):
        more[max(range(len(stretches)), key=gap)] += 1
    found: set[int] = set()
    for n, (start, end, _) in enumerate(stretches):
        step = gap(n) * (1 if end >= start else -1)
        found |= {round(start + step * (i + 1)) for i in range(more[n])}
    return sorted(found - set(kept))


def with_feeds(display: Display, places: Sequence[int]) -> PowerSection:
    """The display's power section with more feeds, at positions 0…N-1, and all their lengths.

    A new feed gets the supply and the wire of the nearest listed feed on its piece of strip. If
    there is none, it gets those that the default gives its run.
    """
    return _Layout(display).section(places)


class _Layout:
    """The known supplies, buses and feeds, from which new feeds start."""

    def __init__(self, display: Display) -> None:
        self.display = display
        wiring = display.wiring
        self.known = complete_power(display.power, display.chip, wiring, display.placement)
        self.outline = Outline.of(display.placement, wiring)
        self.positions = [self.position(feed) for feed in self.known.feed]
        jumpers = display.power.jumper is not None
        self.island = np.empty(display.leds, dtype=np.int64)
        for number, runs in enumerate(islands(wiring, jumpers=jumpers)):
            self.island[np.isin(wiring.run, runs)] = number
        self.on_bus = {bus.supply for bus in self.known.bus}
        self.feeds_on: dict[int, list[int]] = {}  # numbers of the known feeds of each island
        for number, at in enumerate(self.positions):
            self.feeds_on.setdefault(int(self.island[at]), []).append(number)

    def position(self, feed: FeedSection) -> int:
        return self.display.wiring.line_starts[feed.line] + feed.led

    def cell(self, feed: FeedSection) -> Cell:
        return cell_of(self.display.wiring, self.position(feed))

    def section(self, places: Sequence[int]) -> PowerSection:
        power = self.display.power
        new = [self._wired(at) for at in places]
        buses = {bus.supply: bus for bus in (power.bus if power.feed else self.known.bus)}
        groups: dict[int, list[list[FeedSection]]] = {}
        for supply in range(len(self.known.supply)):
            added = [feed for feed in new if feed.supply == supply]
            listed = [feed for feed in power.feed if feed.supply == supply]
            if not listed and not added:
                continue
            if supply not in buses:
                groups[supply] = [[feed] for feed in listed] or [[]]
                groups[supply][-1] += added
            elif listed:
                groups[supply] = self._on_listed_bus(supply, added)
            else:
                known = next(bus for bus in self.known.bus if bus.supply == supply)
                chain, to_first_m = self._on_new_bus(supply, known, added)
                buses[supply] = buses[supply].model_copy(update={"to_first_m": to_first_m})
                groups[supply] = [chain]
        # In the order of the file, each feed with the new ones that follow it.
        feeds: list[FeedSection] = []
        for feed in power.feed:
            feeds += groups[feed.supply].pop(0)
        for supply in sorted(groups):
            feeds += itertools.chain.from_iterable(groups[supply])
        return power.model_copy(update={"feed": feeds, "bus": list(buses.values())})

    def _wired(self, at: int) -> FeedSection:
        """A feed at a position, like the nearest known feed on its piece of strip."""
        wiring = self.display.wiring
        near = self.feeds_on[int(self.island[at])]
        number = min(near, key=lambda n: abs(self.positions[n] - at))
        model, cell = self.known.feed[number], cell_of(wiring, at)
        if model.supply not in self.on_bus:
            length_m = long_m(model) + self.outline.across_m(cell, self.cell(model))
        elif self.display.power.feed and self.display.power.feed[number].length_m is not None:
            deeper_m = self.outline.inward_m(cell) - self.outline.inward_m(self.cell(model))
            length_m = long_m(model) + max(deeper_m, 0.0)
        else:
            length_m = self.outline.reach_m(cell)
        place = {"line": int(wiring.line[at]), "led": int(wiring.led[at]), "bus_m": None}
        return model.model_copy(update={**place, "length_m": round_up_m(length_m)})

    def _on_listed_bus(self, supply: int, added: list[FeedSection]) -> list[list[FeedSection]]:
        """Each feed listed on a bus, with the new ones that follow it.

        The file's length between two feeds is kept. If a new feed comes between them, it is split.
        """
        listed = [f for f in self.known.feed if f.supply == supply]
        stated = [f for f in self.display.power.feed if f.supply == supply]
        following: list[list[FeedSection]] = []
        for feed in self._inserted([self.cell(f) for f in listed], added):
            if feed is None:
                following.append([])
            else:
                following[-1].append(feed)
        groups: list[list[FeedSection]] = [[stated[0]]]
        for number, between in enumerate(following):
            if number + 1 == len(listed):
                ways_m = self._ways_m(listed[number], between)
                groups[-1] += self._at(between, ways_m)
            elif between:
                ways_m = self._ways_m(listed[number], [*between, listed[number + 1]])
                longer = max(1.0, (listed[number + 1].bus_m or 0.0) / sum(ways_m))
                *new, after = self._at(
                    [*between, stated[number + 1]], [way_m * longer for way_m in ways_m]
                )
                groups[-1] += new
                groups.append([after])
            else:
                groups.append([stated[number + 1]])
        return groups

    def _at(self, feeds: Sequence[FeedSection], ways_m: Sequence[float]) -> list[FeedSection]:
        pairs = zip(feeds, ways_m, strict=True)
        return [feed.model_copy(update={"bus_m": round_up_m(way_m)}) for feed, way_m in pairs]

    def _on_new_bus(
        self, supply: int, bus: BusSection, added: list[FeedSection]
    ) -> tuple[list[FeedSection], float]:
        """New feeds only, first the one nearest to where the default begins; the length of bus
        to that one."""
        begin = self.cell(next(f for f in self.known.feed if f.supply == supply))
        nearest = min(added, key=lambda f: self.outline.along_m(begin, self.cell(f)))
        rest = [feed for feed in added if feed is not nearest]
        chain = self._inserted([self.cell(nearest)], rest)
        feeds = [nearest if feed is None else feed for feed in chain]
        ways_m = self._ways_m(nearest, feeds[1:])
        to_first_m = (bus.to_first_m or 0.0) + self.outline.along_m(begin, self.cell(nearest))
        return [nearest, *self._at(feeds[1:], ways_m)], round_up_m(to_first_m)

    def _ways_m(self, begin: FeedSection, feeds: Sequence[FeedSection]) -> list[float]:
        """Length of bus before each feed, along the sides of the wall. [m]

        It is longer if a feed inside the wall has a wire too short to reach the side: the bus must
        then go to that feed.
        """
        ways_m = []
        for a, b in itertools.pairwise([begin, *feeds]):
            ends = self.cell(a), self.cell(b)
            inside_m = self.outline.across_m(*ends) - long_m(a) - long_m(b)
            ways_m.append(max(self.outline.along_m(*ends), inside_m, LEAST_M))
        return ways_m

    def _inserted(
        self, listed: Sequence[Cell], added: Sequence[FeedSection]
    ) -> list[FeedSection | None]:
        """The order along the bus; None is the next listed feed. Each new feed goes where it
        makes the bus longer by the least, and never before the first."""
        outline = self.outline
        taps_m = [outline.tap_m(cell) for cell in listed]
        chain: list[FeedSection | None] = [None] * len(listed)
        new = [(outline.tap_m(self.cell(feed)), feed) for feed in added]
        for tap_m, feed in sorted(new, key=lambda n: float(outline.apart_m(taps_m[0], n[0]))):
            along_m = np.array(taps_m)
            to_m = outline.apart_m(along_m, tap_m)
            between_m = to_m[:-1] + to_m[1:] - outline.apart_m(along_m[:-1], along_m[1:])
            best = int(np.round([*between_m, to_m[-1]], 6).argmin())  # of equal ones the first
            taps_m.insert(best + 1, tap_m)
            chain.insert(best + 1, feed)
        return chain
