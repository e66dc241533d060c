"""The process between the show and a scene's.

`python -m harness.show.scene.keeper SHOW DISPLAY SCENE`

SHOW is the id of the show's process. The keeper starts the scene, which gets its standard input and
output, and waits. When the scene ends, on SIGTERM, or when the show has ended for any reason, the
keeper ends all processes that the scene has started, also those that have left its group or lost
their parent (the latter on Linux only). Then it ends with the status of the scene.
"""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
from types import FrameType

from harness.show.scene.lineage import adopt_orphans, is_gone, kill_descendants, reap_orphans

_LOOK_S = 0.2  # between looks whether the show is still there
GRACE_S = 1.0  # for a scene to release what it holds after the show has ended


def main() -> int:
    """Keep a scene; its status."""
    show = int(sys.argv[1])
    asked: list[int] = []  # signals

    def ask(number: int, frame: FrameType | None) -> None:
        asked.append(number)

    signal.signal(signal.SIGTERM, ask)
    adopt_orphans()
    if is_gone(show):
        return 1
    command = [sys.executable, "-P", "-m", "harness.show.scene.child", str(os.getpid())]
    scene = subprocess.Popen([*command, *sys.argv[2:]])
    _let_go_of_pipes()
    status = None
    while status is None and not asked and not is_gone(show):
        status = _wait(scene, _LOOK_S)
        reap_orphans(but=scene.pid)
    if status is None and not asked:
        status = _wait(scene, GRACE_S)
    if status is None:
        scene.kill()
        status = scene.wait()
    kill_descendants()
    return _end_as(status)


def _wait(scene: subprocess.Popen[bytes], seconds: float) -> int | None:
    with contextlib.suppress(subprocess.TimeoutExpired):
        return scene.wait(seconds)
    return None


def _let_go_of_pipes() -> None:
    """Close them here: then their readers see the end when the scene ends."""
    nothing = os.open(os.devnull, os.O_RDWR)
    for pipe in (0, 1):
        os.dup2(nothing, pipe)
    os.close(nothing)


def _end_as(status: int) -> int:
    """The status. If a signal ended the scene, the same signal ends this process."""
    if status < 0:
        with contextlib.suppress(ImportError):
            import resource  # not on Windows

            resource.setrlimit(resource.RLIMIT_CORE, (0, 0))  # the scene has left one already
        with contextlib.suppress(OSError):  # of SIGKILL there is no other handler
            signal.signal(-status, signal.SIG_DFL)
        os.kill(os.getpid(), -status)
    return status


if __name__ == "__main__":
    sys.exit(main())
