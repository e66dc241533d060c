"""What does not go together on the board, in words: the lattice, holes, strips, wires too short."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from emulator.description.geometry import Geometry
from emulator.description.route import length_mm

_LEAST_WEB_MM = 1.0  # of board between two holes: own figure


def remarks(geometry: Geometry) -> tuple[str, ...]:
    """What does not go together on the board, in words; empty if all does."""
    return (*_lattice_remarks(geometry), *_place_remarks(geometry), *_short_wires(geometry))


def _lattice_remarks(geometry: Geometry) -> Iterator[str]:
    found = geometry.lattice
    most_mm = max(1.0, 0.05 * found.grid_mm)
    if found.most_mm > most_mm:
        fix = (
            f"Set the pitch in [grid] to {found.strip_mm:.3f}, or cut strips into shorter pieces."
            if abs(found.over_mm) / 2 > most_mm / 2
            else "Use longer reels or shorter runs; keep the distance of LEDs across each joint."
        )
        yield (
            f"The strip has an LED every {found.strip_mm:.2f} mm and the grid a cell every"
            f" {found.grid_mm:.2f} mm: over run {found.run} this adds up to"
            f" {abs(found.over_mm):.1f} mm, and {found.joints} joints add up to"
            f" {found.joints_mm:.1f} mm more. Aligned in the middle, LEDs at the ends are up to"
            f" {found.most_mm:.1f} mm off the middle of their cells. {fix}"
        )


def _place_remarks(geometry: Geometry) -> Iterator[str]:
    board, placement = geometry.display.board, geometry.display.placement
    (width, height), edge = placement.size_mm, board.frame_mm
    outside = [
        hole
        for hole in geometry.holes
        if not (
            edge <= hole.x_mm - hole.diameter_mm / 2
            and hole.x_mm + hole.diameter_mm / 2 <= width - edge
            and edge <= hole.y_mm - hole.diameter_mm / 2
            and hole.y_mm + hole.diameter_mm / 2 <= height - edge
        )
    ]
    if outside:
        yield (
            f"{len(outside)} holes are under the frame or off the board, the first for"
            f" {outside[0].use}: give [board] a larger size or a smaller frame_mm."
        )
    for obstacle in placement.obstacles:
        inside = [hole for hole in geometry.holes if obstacle.holds(hole.x_mm, hole.y_mm)]
        if inside:
            yield f"{obstacle.name} holds {len(inside)} holes, the first for {inside[0].use}."
        x, y = geometry.led_mm.T
        under = (obstacle.left < x) & (x < obstacle.right)
        under &= (obstacle.top < y) & (y < obstacle.bottom)
        if under.any():
            yield (
                f"{obstacle.name} is where {int(under.sum())} LEDs are: move it, or declare a"
                " gap in [grid]."
            )
    apart_mm = _holes_apart_mm(geometry)
    if apart_mm < _LEAST_WEB_MM:
        yield (
            f"Between two holes {max(apart_mm, 0):.1f} mm of board are left: give [board] a"
            ' smaller hole_mm, or wires = "front".'
        )
    ends = np.array([point for strip in geometry.strips for point in (strip.start, strip.end)])
    if (ends < -1e-6).any() or (ends > np.array([width, height]) + 1e-6).any():
        yield (
            "Strips reach beyond the board, with hidden LEDs or a gap at their end: give [board]"
            " a larger margin_mm or size."
        )
    (left, top), (right, bottom) = geometry.outline.corners_mm
    if geometry.display.whole_power.bus and (
        min(left, top) < edge or right > width - edge or bottom > height - edge
    ):
        yield "The bus is under the frame or off the board: give [board] a smaller bus_mm."


def _holes_apart_mm(geometry: Geometry) -> float:
    """What is left of the board between the two nearest holes."""
    places = np.array([(hole.x_mm, hole.y_mm) for hole in geometry.holes])
    if len(places) < 2:
        return np.inf
    axis = np.ptp(places, axis=0).argmax()
    places, nearest = places[places[:, axis].argsort(kind="stable")], np.inf
    for step in range(1, len(places)):
        apart = places[step:] - places[:-step]
        if apart[:, axis].min() >= nearest:  # and so are those of all further steps
            break
        nearest = min(nearest, float(np.hypot(*apart.T).min()))
    return nearest - geometry.display.placement.hole_mm


def _short_wires(geometry: Geometry) -> Iterator[str]:
    """Lengths that the display file states and that do not reach."""
    power, jumper = geometry.display.whole_power, geometry.display.power.jumper
    for number, feed in enumerate(power.feed):
        way = geometry.feed_way(number)
        if way and (feed.length_m or 0) * 1000 < length_mm(way):
            yield (
                f"feed {number} is {feed.length_m:g} m long and its way"
                f" {length_mm(way) / 1000:.2f} m: give it a larger length_m, or none."
            )
    if jumper is not None and jumper.length_m is not None and geometry.jumpers:
        longest = max(geometry.jumpers, key=lambda j: j.length_mm)
        if jumper.length_m * 1000 < longest.length_mm - geometry.display.board.service_loop_mm:
            yield (
                f"jumpers are {jumper.length_m:g} m long, but the one from run {longest.run} to"
                f" {longest.run + 1} needs {longest.length_mm / 1000:.2f} m: give"
                " [power.jumper] a larger length_m, or none."
            )
