"""Puts a mistake into the user's code when the process of their tests imports it.

Nothing of the user's files changes: an import hook replaces the attribute `name` of `module` as
soon as the module has run, so `from module import name` gets the replacement, too. What the module
itself works out from the name while it is imported keeps the right one.
"""

from __future__ import annotations

import contextlib
import functools
import inspect
import json
import sys
from collections.abc import Callable, Sequence
from importlib.machinery import ModuleSpec
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np

from emulator.arrays import Picture
from harness.mutate.change import Change, cells_of
from harness.mutate.early import early_uses
from harness.mutate.order import Order


def install(path: Path) -> None:
    """Carry out the order of a file in this process; a second call does nothing."""
    if any(isinstance(finder, _Finder) for finder in sys.meta_path):
        return
    order = Order.read(path)
    module, _, name = order.target.rpartition(":")
    finder = _Finder(module, lambda loaded: _replace(loaded, name, order))
    if module in sys.modules:
        _replace(sys.modules[module], name, order)
    sys.meta_path.insert(0, finder)


class _Finder:
    """Finds one module as the other finders do, and calls `then` when it has run."""

    def __init__(self, module: str, then: Callable[[ModuleType], None]) -> None:
        self._module, self._then = module, then

    def find_spec(
        self, name: str, path: Sequence[str] | None = None, target: ModuleType | None = None
    ) -> ModuleSpec | None:
        """The spec that the other finders give, with a loader of ours; None for other modules."""
        if name != self._module:
            return None
        for finder in sys.meta_path:
            spec = None if finder is self else finder.find_spec(name, path, target)
            if spec is not None:
                if spec.loader is not None:  # a folder without code has none
                    spec.loader = _Loader(spec.loader, self._then)  # type: ignore[assignment]
                return spec
        return None


class _Loader:
    """A loader that does what the module's own does, and something after it has run."""

    def __init__(self, own: Any, then: Callable[[ModuleType], None]) -> None:
        self._own, self._then = own, then

    def __getattr__(self, name: str) -> Any:
        return getattr(self._own, name)

    def exec_module(self, module: ModuleType) -> None:
        """Run the module; what it raises goes on."""
        self._own.exec_module(module)
        self._then(module)


def _replace(module: ModuleType, name: str, order: Order) -> None:
    """Put the mistake into the attribute `name`, which may be that of a class: Wall.to_wire."""
    *owners, last = name.split(".")
    try:
        owner = functools.reduce(getattr, owners, module)
        kept = inspect.getattr_static(owner, last)
    except AttributeError:
        order.answer(f"unfit {order.target.rpartition(':')[0]} has no '{name}'")
        return
    bound = type(kept) if isinstance(kept, (staticmethod, classmethod)) else None
    value = kept.__func__ if bound else kept
    found = "found"
    if order.kind == "call":
        if not callable(value):
            order.answer(f"unfit {name} is {type(value).__name__}, not a function")
            return
        replaced: Any = _with_pictures(value, order)
    elif callable(value):
        replaced, found = _with_map(value, order), f"found function{_arguments(value)}"
    else:
        replaced = _map(value, order, _Once(order))
    order.answer(found)
    with contextlib.suppress(OSError, TypeError, SyntaxError):  # a module without source
        for line in early_uses(inspect.getsource(module), (owners or [last])[0]):
            order.answer(f"early {line}")
    setattr(owner, last, bound(replaced) if bound else replaced)


def _with_pictures(function: Callable[..., Any], order: Order) -> Callable[..., Any]:
    """A function that is given another picture than its caller gives."""
    change = order.change.of_pictures(order.curve, order.frame_rate)
    say = _Once(order)

    def changed(argument: Any) -> Any:
        picture = _picture(argument, (order.rows, order.columns, 3))
        if picture is None:
            return argument
        say("called")
        return change(picture) if order.change != Change() else argument

    def mutated(*args: Any, **kwargs: Any) -> Any:
        return function(*map(changed, args), **{key: changed(arg) for key, arg in kwargs.items()})

    return _like(mutated, function)


def _with_map(function: Callable[..., Any], order: Order) -> Callable[..., Any]:
    """A function whose map has the mistake."""
    say = _Once(order)

    def mutated(*args: Any, **kwargs: Any) -> Any:
        return _map(function(*args, **kwargs), order, say)

    return _like(mutated, function)


def _arguments(function: Callable[..., Any]) -> str:
    """' with arguments' if a function cannot be called without; else ''."""
    try:
        inspect.signature(function).bind()
    except (TypeError, ValueError):  # some builtins do not say
        return " with arguments"
    return ""


class _Once:
    """Answers each line once."""

    def __init__(self, order: Order) -> None:
        self._order, self._said = order, set[str]()

    def __call__(self, line: str) -> None:
        if line not in self._said:
            self._said.add(line)
            self._order.answer(line)


def _map(value: Any, order: Order, say: Callable[[str], None]) -> Any:
    """A map with the mistake; unchanged if it is not a map, and then the answer says so."""
    try:
        cells = cells_of(value, order.columns)
    except ValueError as error:
        say(f"unfit {error}")
        return value
    say("called")
    if not order.change.source:
        say(f"map {json.dumps(cells.tolist())}")
    return order.change.of_map(value, order.columns)


def _picture(argument: Any, shape: tuple[int, int, int]) -> Picture | None:
    """An argument as a picture, if it is an array, or lists, of this shape."""
    if not isinstance(argument, (np.ndarray, list, tuple)) or len(argument) != shape[0]:
        return None
    try:
        picture = np.asarray(argument)
    except ValueError:  # lists of unequal length
        return None
    return picture if picture.shape == shape and picture.dtype.kind in "uif" else None


def _like(mutated: Callable[..., Any], function: Callable[..., Any]) -> Callable[..., Any]:
    """With the name, the signature and the attributes of the function that it replaces."""
    functools.update_wrapper(mutated, function)
    for name in set(dir(function)) - set(dir(mutated)):
        if not name.startswith("__"):  # such as cache_clear
            setattr(mutated, name, getattr(function, name))
    return mutated
