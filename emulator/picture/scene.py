"""A user's scene: a Python file with `picture(time_s, display)`, loaded again when you save it.

`picture` is a function, or any source object, or a generator function:

    def picture(time_s, display):
        while True:
            time_s = yield draw(time_s)

A scene is Python and can do anything Python can: run only scenes that you trust.
"""

from __future__ import annotations

import contextlib
import importlib
import inspect
import sys
import traceback
from collections.abc import Callable, Generator, Iterator
from importlib.machinery import ModuleSpec, SourceFileLoader
from importlib.util import module_from_spec
from pathlib import Path
from types import CodeType, ModuleType

from numpy.typing import ArrayLike

from emulator.arrays import Picture
from emulator.description.display import Display
from emulator.errors import PictureError, SceneError
from emulator.picture.check import check_picture
from emulator.picture.source import ClosingSource, Source, close_source
from emulator.picture.watch import Watch
from foreglow.names import hint

_Pictures = Generator[ArrayLike, float, None]

_RETRY_S = 1.0  # between attempts to load a broken scene, changed or not
_OURS = ("emulator", "harness", "scenes")  # never loaded again: their classes must stay the same


class SceneFile(ClosingSource):
    """The scene in a Python file, as a source. It is loaded at the first picture.

    foreglow loads the file, and the modules beside it that it imports, again when their content
    changes; the time of the show continues. While the file is missing, as during a save, the
    loaded scene continues.

    Raises SceneError if the scene cannot be loaded, raises, or returns no picture for the display;
    `.trace` has the traceback, from your file on. The next call tries again: it calls a function
    again, starts a generator again, and loads a broken file again once the file has changed or a
    second of the show has passed.

    reload: False keeps the scene as it was loaded and ignores changes.
    """

    def __init__(self, path: Path | str, *, reload: bool = True) -> None:
        self._reload = reload
        self.path = Path(path).resolve()
        self._watch = Watch()
        self._scene: Source | None = None
        self._neighbours: dict[str, ModuleType] = {}
        self._failed: tuple[float, SceneError] | None = None

    def __call__(self, time_s: float, display: Display) -> Picture:
        scene = self._loaded(time_s)
        with self._explained("raised", self.path):
            picture = scene(time_s, display)
        try:
            return check_picture(picture, display)
        except PictureError as error:
            raise SceneError(
                f"{self.path.name} returned no picture: {error.what}", fix=error.fix
            ) from error

    def close(self) -> None:
        """Close the scene, if it can be closed, and forget what it loaded."""
        scene, self._scene = self._scene, None
        for name in (self._module_name, *self._neighbours):
            sys.modules.pop(name, None)
        self._neighbours = {}
        if scene is not None:
            with self._explained("raised while it was closed", self.path):
                close_source(scene)

    @property
    def _module_name(self) -> str:
        # No import statement can name it; with a dot, Python would take a part for a package.
        return f"scene {self.path}".replace(".", "·")

    def _loaded(self, time_s: float) -> Source:
        changed = (self._reload or self._scene is None) and self._watch.changed()
        if self._failed is not None and not changed:
            failed_s, error = self._failed
            if 0 <= time_s - failed_s < _RETRY_S:
                raise error
        if self._scene is None or changed:
            self._failed = None
            try:
                self.close()
                self._scene = self._load()
            except SceneError as error:
                self._failed = time_s, error
                raise
        return self._scene

    def _load(self) -> Source:
        self._watch = Watch()
        self._watch.add(self.path)
        if not self.path.is_file():
            raise SceneError(f"there is no scene {self.path}", fix="check its path.")
        spec = ModuleSpec(
            self._module_name,
            _Fresh(self._module_name, str(self.path)),
            origin=str(self.path),
        )
        spec.has_location = True
        module = module_from_spec(spec)
        sys.modules[self._module_name] = module  # dataclasses look for their module there
        assert spec.loader is not None
        before = set(sys.modules)
        try:
            with self._explained("cannot be loaded", self.path), _beside(self.path):
                spec.loader.exec_module(module)
        finally:
            self._neighbours = self._beside_and_new(before)
            for neighbour in self._neighbours.values():
                self._watch.add(Path(str(neighbour.__file__)))
        return self._played(module)

    def _played(self, module: ModuleType) -> Source:
        """The scene of a module, as a source."""
        scene = getattr(module, "picture", None)
        if not callable(scene):
            raise SceneError(
                f"{self.path.name} has no function 'picture'",
                fix="define picture(time_s, display), which returns a picture.",
            )
        try:
            inspect.signature(scene).bind(0.0, None)
        except TypeError as error:
            raise SceneError(
                f"'picture' in {self.path.name} cannot be called: {error}",
                fix="give it two arguments, picture(time_s, display).",
            ) from error
        return _Generated(scene) if inspect.isgeneratorfunction(scene) else scene

    def _beside_and_new(self, before: set[str]) -> dict[str, ModuleType]:
        """The modules beside the scene that it has loaded."""
        found = {}
        for name in set(sys.modules) - before:
            file = getattr(sys.modules[name], "__file__", None)
            stem = self.path.parent.joinpath(*name.split("."))
            places = (stem.with_name(f"{stem.name}.py"), stem / "__init__.py")
            if file and Path(file) in places and name.split(".")[0] not in _OURS:
                found[name] = sys.modules[name]
        return found

    @contextlib.contextmanager
    def _explained(self, what: str, path: Path) -> Iterator[None]:
        """Turn any error of the user's code into a SceneError with its traceback."""
        try:
            yield
        except SceneError:
            raise
        except (Exception, SystemExit) as error:
            for file in _files(error):
                if path.parent in file.parents:
                    self._watch.add(file)  # the fix may be in a module beside it
            raise SceneError(
                f"{path.name} {what}: {_in_a_line(error)}{_place(error, path)}"
                f"{hint(error, path.parent)}",
                fix="change the scene and save it"
                + ("; while it plays, it is loaded again." if self._reload else "."),
                trace=_trace(error, path),
            ) from error


class _Generated:
    """A generator function as a source; started again after it has ended or raised."""

    def __init__(self, scene: Callable[[float, Display], _Pictures]) -> None:
        self._scene = scene
        self._running: _Pictures | None = None
        self._display: Display | None = None

    def __call__(self, time_s: float, display: Display) -> ArrayLike:
        if self._running is not None and self._display is display:
            with contextlib.suppress(StopIteration):
                return self._running.send(time_s)
        self.close()
        self._display = display
        running = self._running = self._scene(time_s, display)
        for picture in running:
            return picture
        raise SceneError(
            "the generator 'picture' ended without a picture",
            fix="make it yield pictures in a loop, 'time_s = yield picture'.",
        )

    def close(self) -> None:
        """End the generator; it sees GeneratorExit."""
        running, self._running = self._running, None
        if running is not None:
            running.close()


class _Fresh(SourceFileLoader):
    """Always compiles the file: cached code would hide a change within the same second."""

    def get_code(self, fullname: str) -> CodeType:
        code: CodeType = self.source_to_code(self.get_data(self.path), self.path)
        return code


@contextlib.contextmanager
def _beside(path: Path) -> Iterator[None]:
    """Allow imports from the folder of `path`, without cached code."""
    folder, writes_none = str(path.parent), sys.dont_write_bytecode
    sys.path.insert(0, folder)
    sys.dont_write_bytecode = True
    importlib.invalidate_caches()  # a module may be newer than Python's list of the folder
    try:
        yield
    finally:
        sys.dont_write_bytecode = writes_none
        with contextlib.suppress(ValueError):  # the scene may have removed it itself
            sys.path.remove(folder)


def _files(error: BaseException) -> Iterator[Path]:
    """The files in an error's traceback, and the one that could not be read."""
    for frame, _ in traceback.walk_tb(error.__traceback__):
        yield Path(frame.f_code.co_filename)
    if isinstance(error, SyntaxError) and error.filename:
        yield Path(error.filename)


def _place(error: BaseException, path: Path) -> str:
    """The innermost line of the user's code in an error, in words."""
    lines = [(Path(f.f_code.co_filename), n) for f, n in traceback.walk_tb(error.__traceback__)]
    if isinstance(error, SyntaxError) and error.filename and error.lineno:
        lines.append((Path(error.filename), error.lineno))
    for file, line in reversed(lines):
        if file.parent == path.parent:
            return f" (line {line})" if file == path else f" ({file.name}, line {line})"
    return ""


def _trace(error: BaseException, path: Path) -> str:
    """The traceback, from the user's file on."""
    trace = error.__traceback__
    while trace is not None and Path(trace.tb_frame.f_code.co_filename) != path:
        trace = trace.tb_next
    return "".join(traceback.format_exception(type(error), error, trace))


def _in_a_line(error: BaseException) -> str:
    return traceback.format_exception_only(error)[-1].strip()
