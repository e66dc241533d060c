"""Kills of a show and of a board: nothing outlives them, and the wall goes dark."""

from __future__ import annotations

import contextlib
import os
import random
import re
import signal
import time
from pathlib import Path

import serial

from tests.outside.generated_use import board as wire
from tests.outside.generated_use import scenes
from tests.outside.generated_use.processes import Going, marked, until
from tests.outside.generated_use.running import wall
from tests.outside.generated_use.universe import Receiver


def killed(rng: random.Random, folder: Path) -> list[str]:
    """SIGKILL of run at any moment, whatever the scene is doing: no orphan after 3 s."""
    wall(folder)
    scenes.nasty(rng, folder)
    with Receiver() as receiver, _going(receiver, folder) as going:
        _some_moment(rng, going, folder)
        going.kill(signal.SIGKILL)
        going.wait(5)
        return going.left()


def ended(rng: random.Random, folder: Path) -> list[str]:
    """A signal that asks ends the show: dark, status 0, no orphan."""
    wall(folder)
    scenes.nasty(rng, folder)
    with Receiver() as receiver, _going(receiver, folder) as going:
        if not until(lambda: len(receiver.heard) > 3, 20):
            return [f"nothing on the wall: {going.said[-300:]}"]
        _some_moment(rng, going, folder)
        going.kill(rng.choice((signal.SIGINT, signal.SIGTERM, signal.SIGHUP)))
        status = going.wait(20)
        told = [] if status == 0 else [f"exit status {status}: {going.said[-400:]}"]
        if not receiver.dark:
            told.append("the wall is not dark")
        return told + going.left()


def scene_killed(rng: random.Random, folder: Path) -> list[str]:
    """The scene's own process is killed: its children end, it is started again."""
    wall(folder)
    children = "\n".join(f"    {c}" for c in rng.sample(scenes.CHILDREN, rng.randint(1, 3)))
    scenes.write(folder, f"""
_n = 0
def picture(time_s, display):
    global _n
    if _n == 0 and not os.path.exists("pid"):
        os.environ["FOREGLOW_FIRST"] = "first-" + os.environ["{scenes_token()}"]
        with open("pid", "w") as file:
            file.write(str(os.getpid()))
        begin()
    _n += 1
    return _bright(time_s, display)

def begin():
{children}
""")  # fmt: skip
    with Receiver() as receiver, _going(receiver, folder) as going:
        if not until(lambda: (folder / "pid").exists() and len(receiver.heard) > 3, 20):
            return [f"nothing on the wall: {going.said[-300:]}"]
        time.sleep(rng.uniform(0.3, 1.2))
        scene = int((folder / "pid").read_text())
        os.kill(scene, rng.choice((signal.SIGKILL, signal.SIGSEGV)))
        token = f"first-{going.token}"
        told = []
        if not until(lambda: not marked(token), 4):
            told.append(f"children of the killed scene live on: {marked(token)}")
        shown = len(receiver.heard)
        if not until(lambda: len(receiver.heard) > shown + 60, 15):
            told.append("the wall stands")
        going.kill(signal.SIGTERM)
        if going.wait(15) != 0:
            told.append(f"exit status {going.process.returncode}")
        return told + going.left()


def scenes_token() -> str:
    from tests.outside.generated_use.processes import TOKEN

    return TOKEN


def fork_reaches_nothing(rng: random.Random, folder: Path) -> list[str]:
    """A fork of the scene writes to and reads from all descriptors it has: the show goes on."""
    wall(folder)
    scenes.write(folder, f"""
_n = 0
def picture(time_s, display):
    global _n
    _n += 1
    if _n == {rng.randint(1, 20)} and os.fork() == 0:
        for fd in range({rng.choice((0, 3))}, 64):
            try:
                os.write(fd, {rng.randbytes(rng.choice((1, 40, 5000)))!r})
            except OSError:
                pass
        for fd in {rng.choice(("range(64)", "range(3, 64)", "()"))}:
            try:
                os.set_blocking(fd, False)
                os.read(fd, 65536)
            except OSError:
                pass
        open("tried", "w").close()
        {rng.choice(("time.sleep(600)", "os._exit(0)", "os.kill(os.getpid(), 9)", "return None"))}
    return _bright(time_s, display)
""")  # fmt: skip
    with Receiver() as receiver, _going(receiver, folder) as going:
        if not until(lambda: (folder / "tried").exists(), 20):
            return [f"the fork did not come to it: {going.said[-300:]}"]
        time.sleep(1)
        shown = len(receiver.heard)
        told = [] if until(lambda: len(receiver.heard) > shown + 60, 10) else ["the wall stands"]
        going.kill(signal.SIGTERM)
        if going.wait(15) != 0:
            told.append(f"exit status {going.process.returncode}: {going.said[-300:]}")
        summary = re.search(r"restarts of scenes: (\d+)", going.said)
        if not summary or summary[1] != "0":
            told.append(f"the scene was disturbed: {going.said[-600:]}")
        return told + going.left()


def too_much_memory(rng: random.Random, folder: Path) -> list[str]:
    """A scene or a child of it takes more than --memory: it starts again, and the log says so."""
    wall(folder)
    grow = rng.choice((
        "_kept.append(np.ones(40_000_000, np.uint8))",
        "_kept.append(bytearray(os.urandom(1000)) * 30_000)",
        "_kept or _kept.append(subprocess.Popen([sys.executable, '-c', "
        "'x = bytearray(b\"x\") * 700_000_000; import time; time.sleep(600)']))",
        "_kept.append(np.ones(700_000_000, np.uint8))",
        "_kept.extend(str(n) * 20 for n in range(300_000))",
    ))  # fmt: skip
    scenes.write(folder, f"""
_kept = []
open(f"start-{{time.time_ns()}}", "w").close()
def picture(time_s, display):
    if time_s > 0.3:
        {grow}
    return _bright(time_s, display)
""")  # fmt: skip
    with Receiver() as receiver:
        options = ("--memory", rng.choice(("300MB", "400MB", "0.4GB")))
        with _going(receiver, folder, *options) as going:
            told = []
            # Started again, or a child that grew was refused the memory and told so.
            if not until(
                lambda: len(list(folder.glob("start-*"))) > 1 or "MemoryError" in going.said, 25
            ):
                told.append(f"not started again: {going.said[-300:]}")
            if not until(lambda: "memory" in going.said.lower() or "MB" in going.said, 3):
                told.append(f"the log does not tell why: {going.said[-300:]}")
            if going.ended:
                told.append(f"the show ended: {going.said[-300:]}")
            going.kill(signal.SIGTERM)
            going.wait(15)
            return told + going.left()


def _going(receiver: Receiver, folder: Path, *more: str) -> Going:
    to = ["--to", receiver.address, "--patience", "2s"]
    return Going(["run", "wall.toml", "scene.py", *to, *more], folder)


def _some_moment(rng: random.Random, going: Going, folder: Path) -> None:
    """At the start, while it shows, or when the scene is busy."""
    if rng.random() < 0.6:
        until(lambda: (folder / "is-busy").exists() or going.ended, 15)
        time.sleep(rng.uniform(0, 0.6))
    else:
        time.sleep(rng.uniform(0.1, 3))


# The board -------------------------------------------------------------------------------------


def silence(rng: random.Random, folder: Path) -> list[str]:
    """The emulated board goes dark when its hold time is over, not before, and never with 0."""
    wall(folder)
    hold = rng.choice((0, 5, 10, 17, 25))  # tenths of a second
    with contextlib.ExitStack() as stack:
        receiver = stack.enter_context(Receiver())
        going = stack.enter_context(Going(
            ["listen", "wall.toml", "--serial", "--name", "port", "--to", receiver.address], folder
        ))  # fmt: skip
        if not going.says("The board of"):
            return [f"no board: {going.said}"]
        port = stack.enter_context(serial.Serial(str(folder / "port"), 2_000_000, timeout=0))
        port.write(b"\0" + wire.message(wire.HELLO, b"\1" + hold.to_bytes(2, "little")))
        levels = bytes(rng.choice((0, 9, 255)) for _ in range(95)) + b"\x80"
        sent = rng.randint(1, 5)
        for number in range(sent):
            port.write(wire.frame(number, levels))
            time.sleep(0.05)
        last = time.monotonic()
        if not until(lambda: receiver.levels(96).get(1) == levels, 5):
            return [f"the picture is not shown: {receiver.levels(96)}"]
        shown = len(receiver.heard)
        if rng.random() < 0.4:  # questions keep it, garbage does not
            for _ in range(4):
                time.sleep(0.08)
                port.write(wire.message(wire.ASK, b""))
                last = time.monotonic()
        ends = last + (hold / 10 or 4) + 3
        while time.monotonic() < ends and (hold == 0 or not receiver.dark):
            port.write(rng.randbytes(rng.randint(0, 30)).replace(b"\x04\x04\x74\xa1", b""))
            time.sleep(0.02)
        dark = next((h.at_s for h in receiver.heard[shown:] if not any(h.levels)), None)
        if hold == 0:
            return [] if dark is None else ["dark with hold time 0"]
        if dark is None:
            return [f"never dark, hold time {hold / 10} s"]
        early = dark - last < hold / 10 - 0.25
        return [f"dark after {dark - last:.2f} s, hold {hold / 10} s"] if early else []


def board_again(rng: random.Random, folder: Path) -> list[str]:
    """`listen --serial --name` starts again after kill -9, whoever has its number now."""
    wall(folder)
    arguments = ["listen", "wall.toml", "--serial", "--name", "port", "--to", "memory:"]
    taken: list[int] = []
    try:
        with Going(arguments, folder) as going:
            if not going.says("The board of"):
                return [f"no board: {going.said}"]
            going.kill(signal.SIGKILL)
            going.wait(5)
        for _ in range(rng.choice((0, 1, 20, 60))):
            taken += os.openpty()
        with Going(arguments, folder) as going:
            if not going.says("The board of"):
                return [f"not started again: {going.said}"]
            with serial.Serial(str(folder / "port"), 2_000_000, timeout=3) as port:
                port.write(b"\0" + wire.message(wire.HELLO, b"\1"))
                if b"WS2812B" not in port.read_until(b"WS2812B", 200):
                    return ["no answer from the new board"]
            going.kill(signal.SIGTERM)
            going.wait(10)
        return ["the link is left"] if os.path.lexists(folder / "port") else []
    finally:
        for fd in taken:
            os.close(fd)
