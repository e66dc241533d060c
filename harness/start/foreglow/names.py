"""Whether `emulator`, `harness` and `scenes` are foreglow's own, and whose they are if not."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Mapping
from importlib.machinery import PathFinder
from pathlib import Path

OURS = ("emulator", "harness", "scenes")
_HERE = Path(__file__).resolve().parent.parent  # where `foreglow` is found
# The folder of the other packages: this one if installed; in the sources, above harness/start/.
HOME = _HERE if (_HERE / "harness" / "__init__.py").is_file() else _HERE.parents[1]
PLACES = tuple(dict.fromkeys((HOME, _HERE)))  # what a new interpreter needs on its path
FIX = (
    "give yours another name. Until then, start the command as `python -m foreglow …`: it finds its"
    " own packages in any folder."
)


def others(folders: Iterable[Path | str]) -> Mapping[str, Path]:
    """Other modules with a name of ours, by that name: the first found in these folders.

    A folder without `__init__.py` counts if it holds Python files: `import scenes.mine` in
    code beside it finds our package instead. A copy of foreglow does not count.
    """
    found: dict[str, Path] = {}
    for folder in dict.fromkeys(Path(folder).resolve() for folder in folders):
        if folder in PLACES or _is_copy(folder):
            continue
        for name in OURS:
            for path in (folder / name / "__init__.py", folder / f"{name}.py"):
                if path.is_file():
                    found.setdefault(name, path)
            if next((folder / name).glob("*.py"), None) is not None:
                found.setdefault(name, folder / name)
    return found


def _is_copy(folder: Path) -> bool:
    """Whether a folder holds foreglow itself, installed or as sources."""
    kept = (folder, folder / "harness" / "start")
    return any((place / "foreglow" / "names.py").is_file() for place in kept)


def told(theirs: Mapping[str, Path]) -> str:
    """The two places of each name, and what to do.

    The layout is that of `emulator.errors`, but `emulator` may not be ours here.
    """
    return f"{_places(theirs)}\n  Fix: {FIX}"


def _places(theirs: Mapping[str, Path]) -> str:
    return "; ".join(
        f"'{name}' is the name of a foreglow package ({HOME / name}) and of one of yours ({path})"
        for name, path in theirs.items()
    )


def hint(error: BaseException, folder: Path) -> str:
    """A line to add to an error of code in a folder that has a module with a name of ours; else ''.

    Such code gets our package instead of its own.
    """
    theirs = others([folder]) if isinstance(error, (ImportError, AttributeError)) else {}
    return f"\n  {_places(theirs)}: give yours another name." if theirs else ""


def judge() -> None:
    """Raise ImportError if Python finds another module under one of our names.

    The message names both places. A folder without code hides nothing of ours and passes, and so
    does a copy of foreglow.
    """
    wrong: dict[str, Path] = {}
    for name in OURS:
        spec = getattr(sys.modules.get(name), "__spec__", None) or PathFinder.find_spec(name)
        origin = getattr(spec, "origin", None)
        if origin is None or Path(origin).resolve().parent == HOME / name:
            continue
        if not _is_copy(Path(origin).resolve().parent.parent):
            wrong[name] = Path(origin)
    if wrong:
        raise ImportError(f"one hides the other: {told(wrong)}")
