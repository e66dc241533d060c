"""The faults that a soak injects: one class for each.

To add one: write a subclass of ShowFault and enter it in FAULTS.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import ClassVar

from emulator.arrays import Picture
from emulator.clock import SECOND_NS
from emulator.errors import SourceError
from emulator.ports.serial.port import LinkError
from emulator.recorder import Recorder
from emulator.recording.disk import DiskRecorder
from emulator.recording.recording import load_recording
from harness.patterns.sources import PictureAt
from harness.soak.rig import Rig, ShowFault

_UNPLUGGED = "an injected fault: the camera is unplugged"


class _Once(ShowFault):
    """Happens to the first picture asked for, and to no other."""

    def __init__(self) -> None:
        self._done = False

    def picture(self, draw: PictureAt, time_s: float, rig: Rig) -> Picture:
        """As ShowFault.picture."""
        if not self._done:
            self._done = True
            self._happen(rig)
        return draw(time_s)

    def _happen(self, rig: Rig) -> None:
        raise NotImplementedError


class SceneRaises(_Once):
    """The scene raises an error that it does not catch."""

    name: ClassVar[str] = "scene-raises"
    what: ClassVar[str] = "the scene raises an error"

    def _happen(self, rig: Rig) -> None:
        raise RuntimeError("an error injected into the scene")


class SceneHangs(_Once):
    """The scene computes for an hour over one picture."""

    name: ClassVar[str] = "scene-hangs"
    what: ClassVar[str] = "the scene computes for an hour"

    def _happen(self, rig: Rig) -> None:
        rig.scene_clock.wait_until(rig.scene_clock.now_ns() + 3600 * SECOND_NS)


class CameraLost(ShowFault):
    """Every Camera that the scene asks fails, so the scene must show something else.

    If the scene asks no Camera in that time, the fault is not tried. It does not affect a scene
    that reads a camera in its own way.
    """

    name: ClassVar[str] = "camera-lost"
    what: ClassVar[str] = "the camera is unplugged for 20 s"
    lasts_s: ClassVar[float] = 20.0

    def __init__(self) -> None:
        self._asked = 0  # how often a Camera was asked during the fault
        self._has_camera = False

    def end(self, rig: Rig) -> None:
        """As ShowFault.end."""
        self._has_camera = rig.has_camera

    @property
    def tried(self) -> bool:
        """As ShowFault.tried."""
        return self._asked > 0

    def camera(self) -> None:
        """As ShowFault.camera. Raises SourceError."""
        self._asked += 1
        raise SourceError(_UNPLUGGED)

    def told(self) -> str:
        """As ShowFault.told."""
        if self._asked:
            return f"the scene's Camera failed; it was asked {self._asked} times"
        if self._has_camera:
            return "not tried: the scene's Camera was not asked meanwhile"
        return "not tried: the scene has asked no Camera"


class PortLost(ShowFault):
    """The output fails, and cannot be opened again."""

    name: ClassVar[str] = "port-lost"
    what: ClassVar[str] = "the output's port is unplugged for 20 s"
    lasts_s: ClassVar[float] = 20.0

    def send(self) -> None:
        """As ShowFault.send. Raises LinkError."""
        raise LinkError("an injected fault: the port is unplugged")


class DiskFull(ShowFault):
    """The show is recorded to disk, and for ten of its thirty seconds nothing can be written.

    The recorder gets a folder that cannot be made, so the errors come from the system, although
    they are not those of a full disk. Afterwards the recording must hold every frame, except those
    that it reports as lost.
    """

    name: ClassVar[str] = "disk-full"
    what: ClassVar[str] = "the disk is full for 10 s of a recording"
    lasts_s: ClassVar[float] = 30.0
    _FULL_S: ClassVar[tuple[float, float]] = (10.0, 20.0)

    def __init__(self) -> None:
        self._before: Recorder | None = None
        self._recorder: DiskRecorder | None = None
        self._folder = Path()
        self._shown = 0
        self._told = ""
        self._findings: list[str] = []

    def begin(self, rig: Rig) -> None:
        """Begin to record."""
        self._before = rig.bench.recorder
        self._folder = rig.folder / "recording"
        self._recorder = DiskRecorder(self._folder, rig.bench.display)
        rig.bench.recorder = self._recorder

    def step(self, rig: Rig, gone_s: float) -> None:
        """Make the folder unusable, then usable again."""
        assert self._recorder is not None
        self._shown += 1
        full = self._FULL_S[0] <= gone_s < self._FULL_S[1]
        nowhere = self._folder / "layout.npz" / "full"  # no folder can be inside a file
        self._recorder.folder = nowhere if full else self._folder

    def end(self, rig: Rig) -> None:
        """Close the recording and read it."""
        assert self._recorder is not None
        assert self._before is not None
        rig.bench.recorder = self._before
        self._recorder.close()
        recording = load_recording(self._folder)
        kept, lost = len(recording), self._recorder.lost
        self._told = f"{kept} frames recorded, {lost} reported lost"
        if not lost or self._recorder.problem is None:
            self._findings.append("no frame was lost while nothing could be written")
        if kept + lost != self._shown:
            self._findings.append(
                f"{self._shown} frames shown, {kept} recorded, {lost} reported lost"
            )
        if recording.problems:
            self._findings.append(f"the recording cannot be read: {recording.problems[0]}")

    def told(self) -> str:
        """As ShowFault.told."""
        return self._told

    def findings(self) -> list[str]:
        """As ShowFault.findings."""
        return self._findings


class ClockBack(ShowFault):
    """The time of day, and no other clock, is set back by an hour, as an operator could do."""

    name: ClassVar[str] = "clock-back"
    what: ClassVar[str] = "the time of day is set back by an hour"

    def begin(self, rig: Rig) -> None:
        """Set it back; it stays so."""
        rig.machine_time.step(-3600.0)


FAULTS: Mapping[str, type[ShowFault]] = {
    kind.name: kind for kind in (SceneRaises, SceneHangs, CameraLost, PortLost, DiskFull, ClockBack)
}
