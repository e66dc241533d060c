"""What a show may show, by name, played as a show is."""

from __future__ import annotations

import ast
from pathlib import Path

from emulator.description.display import Display
from emulator.errors import SceneError, UnknownNameError
from emulator.picture.scene import SceneFile
from harness.patterns import PATTERNS
from harness.sources import PictureAt, Scene, pattern_source, scene_source
from scenes import SCENES


def show_source(name: str, display: Display) -> PictureAt:
    """Seconds → picture of a test pattern, a demo scene or what a path names.

    A scene file is loaded once, at the first picture: a show does not change by itself when the
    file is saved. Raises UnknownNameError, and SourceError or RecordingError for a file that
    cannot be shown.
    """
    if name in PATTERNS:
        return pattern_source(name, display)
    if Path(name).suffix == ".py":
        return Scene(SceneFile(name, reload=False), display)
    return scene_source(name, display)


def check_name(name: str) -> None:
    """Judge a name without running anything. Raises SceneError or UnknownNameError."""
    path = Path(name)
    if path.suffix == ".py":
        try:
            ast.parse(path.read_bytes(), name)
        except OSError as error:
            raise SceneError(
                f"{name}: cannot be read ({error.strerror})\n  To mend: name a scene file."
            ) from error
        except (SyntaxError, ValueError) as error:
            raise SceneError(f"{name}: {error}\n  To mend: see the line it names.") from error
    elif name not in {*SCENES, *PATTERNS} and not path.exists():
        raise UnknownNameError("scene or pattern", name, [*SCENES, *PATTERNS])
