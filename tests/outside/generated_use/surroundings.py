"""The environment of a show: closed terminals and descriptors, walls that do not answer, leaks."""

from __future__ import annotations

import contextlib
import os
import random
import signal
import subprocess
import time
from pathlib import Path

from tests.outside.generated_use import scenes
from tests.outside.generated_use.board import Board
from tests.outside.generated_use.processes import TOKEN, Going, marked, told, until
from tests.outside.generated_use.running import COMMAND, environment, wall
from tests.outside.generated_use.universe import Receiver

LEDS = 32


def terminal_gone(rng: random.Random, folder: Path) -> list[str]:
    """Whatever standard input, output and error are, or become: the show goes on."""
    wall(folder)
    scenes.write(
        folder,
        """
def picture(time_s, display):
    print("x" * 500, time_s, flush=True)
    return _bright(time_s, display)
""",
    )
    way = rng.choice((
        "{c} | head -c 1", "{c} > /dev/full", "{c} 2> /dev/full > /dev/full", "{c} >&-", "{c} 2>&-",
        "{c} >&- 2>&- <&-", "{c} <&-", "{c} < /dev/full", "{c} 2>&1 | true", "nohup {c} | true",
        "{c} | sleep 600",
    ))  # fmt: skip
    token = f"token-{os.getpid()}-{time.monotonic_ns()}"
    with Receiver() as receiver:
        line = f"{COMMAND} run wall.toml scene.py --to {receiver.address}"
        line += rng.choice(("", " --log o.log", " --record r"))
        shell = subprocess.Popen(
            ["sh", "-c", way.replace("{c}", f"exec {line}" if "|" not in way else line)],
            cwd=folder, env=environment(**{TOKEN: token}), start_new_session=True,
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        said = []
        try:
            if not until(lambda: len(receiver.heard) > 90, 20):
                said.append(f"only {len(receiver.heard)} packets")
            for pid in marked(token):
                with contextlib.suppress(OSError):
                    words = Path(f"/proc/{pid}/cmdline").read_bytes().split(b"\0")
                    if b"run" in words and b"wall.toml" in words:
                        os.kill(pid, signal.SIGTERM)
            until(lambda: receiver.dark, 10)
            if not receiver.dark:
                said.append("the wall is not dark at the end")
        finally:
            mine = [pid for pid in marked(token) if "sleep 600" not in told([pid])]
            until(lambda: not any(p in marked(token) for p in mine), 3)
            rest = [pid for pid in mine if pid in marked(token)]
            said += [f"still there: {told(rest)}"] if rest else []
            for pid in marked(token):
                with contextlib.suppress(OSError):
                    os.kill(pid, signal.SIGKILL)
            shell.wait(10)
        return [f"{way}: {s}" for s in said]


def deaf_wall(rng: random.Random, folder: Path) -> list[str]:
    """The wall stops answering, or sends nonsense: the show waits for it, and a signal ends it."""
    wall(folder)
    scenes.nasty(rng, folder)
    board = Board(folder / "port", LEDS)
    try:
        arguments = ["run", "wall.toml", "scene.py", "--to", f"serial://{folder}/port"]
        with Going([*arguments, "--log", "o.log"], folder) as going:
            if not until(lambda: board.latched > 3, 20):
                return [f"nothing on the wall: {going.said[-300:]}"]
            board.deaf(rng.choice((b"", rng.randbytes(200), b"\0" * 50)))
            going.wait(rng.uniform(0.5, 6))
            if going.ended:
                return [f"the show ended: {going.said[-300:]}"]
            going.kill(rng.choice((signal.SIGTERM, signal.SIGINT)))
            status = going.wait(20)
            said = [] if status in (0, 1) else [f"exit status {status}: {going.said[-300:]}"]
            return said + going.left()
    finally:
        board.vanish()


def gathers_nothing(rng: random.Random, folder: Path) -> list[str]:
    """Restarts of scenes and cables pulled again and again leave no descriptor and no thread."""
    wall(folder)
    (folder / "starts").mkdir()
    scenes.write(
        folder,
        """
open(f"starts/{time.time_ns()}", "w").close()
def picture(time_s, display):
    if os.path.exists("fail"):
        os.unlink("fail")
        os._exit(1)
    return _bright(time_s, display)
""",
    )
    with contextlib.ExitStack() as stack:
        receiver = stack.enter_context(Receiver())
        board = Board(folder / "port", LEDS)
        stack.callback(lambda: board.vanish())
        arguments = ["run", "wall.toml", "scene.py", "--to", receiver.address]
        going = stack.enter_context(Going([*arguments, "--to", f"serial://{folder}/port"], folder))
        counts = []
        for turn in range(4):
            if not until(lambda b=board: b.latched > 5, 20):
                return [f"turn {turn}: the board shows nothing: {going.said[-300:]}"]
            started = len(list((folder / "starts").iterdir()))
            time.sleep(0.5)
            counts.append(_held(going.process.pid))
            (folder / "fail").touch()
            board.vanish()
            again = until(lambda n=started: len(list((folder / "starts").iterdir())) > n, 25)
            if not again:
                return [f"turn {turn}: the scene does not start again: {going.said[-300:]}"]
            board = Board(folder / "port", LEDS)
        if counts[-1][0] > counts[0][0] + 1 or counts[-1][1] > counts[0][1] + 1:
            return [f"descriptors and threads by turn: {counts}"]
        return []


def _held(pid: int) -> tuple[int, int]:
    return len(os.listdir(f"/proc/{pid}/fd")), len(os.listdir(f"/proc/{pid}/task"))


def frozen(rng: random.Random, folder: Path) -> list[str]:
    """Processes of the show are stopped (SIGSTOP): a scene is started again, a kill leaves none."""
    wall(folder)
    scenes.write(
        folder,
        """
open(f"pid-{os.getpid()}", "w").close()
picture = _bright
""",
    )
    with Receiver() as receiver:
        arguments = ["run", "wall.toml", "scene.py", "--to", receiver.address, "--patience", "1s"]
        with Going(arguments, folder) as going:
            if not until(lambda: len(receiver.heard) > 10, 20):
                return [f"nothing on the wall: {going.said[-300:]}"]
            scene = int(next(folder.glob("pid-*")).name[4:])
            others = [pid for pid in marked(going.token) if pid != going.process.pid]
            stopped = rng.choice(([scene], others))
            for pid in stopped:
                going.kill(signal.SIGSTOP, pid)
            said = []
            if not until(lambda: len(list(folder.glob("pid-*"))) > 1, 20):
                said.append(f"not started again: {going.said[-300:]}")
            if rng.random() < 0.5:
                for pid in [p for p in marked(going.token) if p != going.process.pid]:
                    going.kill(signal.SIGSTOP, pid)
                going.kill(signal.SIGTERM)
                if going.wait(20) != 0:
                    said.append(f"exit status {going.process.returncode}: {going.said[-300:]}")
            else:
                going.kill(signal.SIGKILL)
                going.wait(5)
            return said + going.left()
