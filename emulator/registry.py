"""Chips, patterns, checks, sources and outputs by name: foreglow's own and those of packages.

A package adds to a kind by an entry point in the group of that kind, `foreglow.chips`,
`foreglow.patterns`, `foreglow.checks`, `foreglow.sources` or `foreglow.outputs`. foreglow looks
into packages only for a name that is not its own, or to list all names. It imports an entry when
it is used.
"""

from __future__ import annotations

import importlib
import logging
from collections.abc import Callable, Collection, Mapping
from importlib.metadata import EntryPoint, entry_points
from typing import Generic, TypeVar, cast

from emulator.errors import ForeglowError, UnknownNameError

_LOG = logging.getLogger(__name__)
_told: set[tuple[str, str]] = set()  # log each taken name once
Thing = TypeVar("Thing")


class Registry(Generic[Thing]):
    """Entries of a kind by name: `registry[name]`, `name in registry`, `registry.names()`.

    kind: 'chip' for the group `foreglow.chips`. ours: each entry, or its place, 'module:name'.
    fits: whether an object is of the kind; wanted: what it must be, in words. key: maps spellings
    to one name. taken: more names that packages cannot use.

    `registry[name]` raises UnknownNameError for an unknown name, and ForeglowError for an entry
    point that cannot be loaded, is of another kind, or exists twice. The error names the package.
    """

    def __init__(
        self,
        kind: str,
        ours: Mapping[str, Thing | str],
        fits: Callable[[object], bool],
        wanted: str,
        *,
        key: Callable[[str], str] = str,
        taken: Collection[str] = (),
    ) -> None:
        self.group = f"foreglow.{kind}s"
        self._kind, self._ours, self._fits, self._wanted = kind, ours, fits, wanted
        self._key, self._taken = key, {*map(key, taken)}

    def __getitem__(self, name: str) -> Thing:
        name = self._key(name)
        if name not in self._ours:
            return self._theirs(name)
        thing = self._ours[name]
        return cast(Thing, _at(thing) if isinstance(thing, str) else thing)

    def __contains__(self, name: str) -> bool:
        return self._key(name) in self._ours or self._key(name) in self._others()

    def names(self) -> list[str]:
        """foreglow's own names in their order, then those of packages, sorted."""
        return [*self._ours, *sorted(self._others())]

    def of(self, name: str) -> str:
        """Where an entry that is not foreglow's own comes from: 'the package glimmer 1.2'."""
        return " and ".join(map(_package, self._others()[self._key(name)]))

    def _others(self) -> dict[str, list[EntryPoint]]:
        found: dict[str, list[EntryPoint]] = {}
        for point in entry_points(group=self.group):
            name = self._key(point.name)
            if name in self._ours or name in self._taken:
                self._tell_taken(name, point)
            elif point.value not in [other.value for other in found.get(name, [])]:
                found.setdefault(name, []).append(point)
        return found

    def _theirs(self, name: str) -> Thing:
        points = self._others().get(name)
        if points is None:
            raise UnknownNameError(self._kind, name, self.names())
        about = f"the {self._kind} '{name}' of {self.of(name)}"
        if len(points) > 1:
            raise ForeglowError(f"{about} exists twice", fix="keep one of the packages.")
        try:
            thing = points[0].load()
        except Exception as error:
            raise ForeglowError(
                f"{about} cannot be loaded: {points[0].value} ({type(error).__name__}: {error})",
                fix=f"correct its entry point in {self.group}, or install what it needs.",
            ) from error
        if not self._fits(thing):
            raise ForeglowError(
                f"{about} is not {self._wanted}",
                fix=f"change its entry point in {self.group} to name one.",
            )
        return cast(Thing, thing)

    def _tell_taken(self, name: str, point: EntryPoint) -> None:
        if (self.group, name) not in _told:
            _told.add((self.group, name))
            _LOG.warning(
                "the %s '%s' of %s is left out: foreglow has one with that name",
                self._kind, name, _package(point),
            )  # fmt: skip


def _package(point: EntryPoint) -> str:
    dist = point.dist
    return "another package" if dist is None else f"the package {dist.name} {dist.version}"


def _at(place: str) -> object:
    module, _, name = place.partition(":")
    return getattr(importlib.import_module(module), name)
