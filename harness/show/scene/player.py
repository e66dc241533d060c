"""One running scene, asked for one picture at a time."""

from __future__ import annotations

import traceback
from abc import abstractmethod

from emulator.arrays import Picture
from emulator.canvas import check_picture
from emulator.closing import Closing
from emulator.description.display import Display
from emulator.errors import ForeglowError, PictureError, SceneError, SourceError


class Player(Closing):
    """A running scene. Call `ask`, then `take` until the answer has come; repeat."""

    @abstractmethod
    def ask(self, time_s: float) -> None:
        """Ask for the picture of a time, in seconds of the show. Never waits, never raises."""

    @abstractmethod
    def take(self) -> Picture | None:
        """The picture asked for, once it has come, else None. Never waits.

        Raises SourceError if the scene has none now but can be asked again, and SceneError if it is
        over: it could not be loaded, raised, or its process has ended.
        """

    @abstractmethod
    def kill(self) -> None:
        """End it at once, whatever it is doing."""


def checked(picture: Picture, display: Display) -> Picture:
    """The picture, if it is one for this display. Raises SceneError."""
    try:
        array = check_picture(picture, display)
    except PictureError as error:
        raise SceneError.of(error) from error
    if array.ndim != 3:
        raise SceneError("the scene returned a stack of pictures", fix="return one picture.")
    return array


def scene_error(error: Exception) -> SceneError | SourceError:
    """What a player raises for an error that a scene has raised.

    A SourceError stays one, and so does a SceneError caused by one: the scene has no picture now.
    Everything else ends the scene, and gets a traceback if it has none.
    """
    for one in (error, error.__cause__):
        if isinstance(one, SourceError):
            return one
    if isinstance(error, SceneError):
        return error
    if isinstance(error, ForeglowError):
        return SceneError(f"{type(error).__name__}: {error.what}", fix=error.fix)
    trace = "".join(traceback.format_exception(error))
    return SceneError(f"{type(error).__name__}: {error}", trace=trace)
