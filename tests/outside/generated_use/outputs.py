"""Outputs that fail: company of a wall, the wall itself, and what is kept of a show."""

from __future__ import annotations

import contextlib
import random
import shutil
import threading
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from tests.outside.generated_use import scenes
from tests.outside.generated_use.board import Board
from tests.outside.generated_use.disk import can_mount, small_disk
from tests.outside.generated_use.processes import Going, until
from tests.outside.generated_use.running import TRACEBACK, wall
from tests.outside.generated_use.universe import Receiver

LEDS = 32
STANDARD_S = 2.5  # E1.31, 6.7.1: a receiver gives up a source after so much silence


@dataclass
class Company:
    """An output beside the wall, and what is done to it after some time."""

    address: str
    fails: bool = True
    hurt: Callable[[], None] = lambda: None


def _full_disk(rng: random.Random, folder: Path, name: str, stack: contextlib.ExitStack) -> Company:
    disk = folder / f"disk{name}"
    stack.enter_context(small_disk(disk, rng.choice((4, 60, 300, 900))))
    return Company(f"vcd:{disk}/trace{name}.vcd" + rng.choice(("", "?each=1s")))


def _gone_folder(rng: random.Random, folder: Path, name: str, _: object) -> Company:
    place = folder / f"traces{name}"
    place.mkdir()
    return Company(f"vcd:{place}/trace{name}.vcd?each=1s", hurt=lambda: shutil.rmtree(place))


def _cable(rng: random.Random, folder: Path, name: str, stack: contextlib.ExitStack) -> Company:
    board = Board(folder / f"port{name}", LEDS)
    stack.callback(board.vanish)
    return Company(f"serial://{board.link}", hurt=board.vanish)


def _mute(rng: random.Random, folder: Path, name: str, stack: contextlib.ExitStack) -> Company:
    board = Board(folder / f"port{name}", LEDS, mute=True)
    stack.callback(board.vanish)
    return Company(f"serial://{board.link}")


def _other_board(
    rng: random.Random, folder: Path, name: str, stack: contextlib.ExitStack
) -> Company:
    board = Board(folder / f"port{name}", rng.choice((1, 31, 33, 600)))
    stack.callback(board.vanish)
    return Company(f"serial://{board.link}")


def _absent(rng: random.Random, folder: Path, name: str, _: object) -> Company:
    return Company(rng.choice((
        f"serial://{folder}/none{name}", f"vcd:{folder}/none/trace{name}.vcd",
        f"serial://{folder}", f"vcd:{folder}",
    )))  # fmt: skip


def _deaf(rng: random.Random, folder: Path, name: str, _: object) -> Company:
    return Company("e131://127.0.0.1:9", fails=False)  # no receiver: UDP does not notice


def _fine(rng: random.Random, folder: Path, name: str, _: object) -> Company:
    return Company(f"vcd:{folder}/fine{name}.vcd", fails=False)


WAYS = (_gone_folder, _cable, _mute, _other_board, _absent, _deaf, _fine)


def company(rng: random.Random, folder: Path) -> list[str]:
    """Any of the company fails, in any way, at any time: the wall goes on, the log says so."""
    ways = (*WAYS, _full_disk, _full_disk) if can_mount() else WAYS
    wall(folder)
    scenes.plain(folder)
    lasts = rng.uniform(4, 7)
    with contextlib.ExitStack() as stack:
        receiver = stack.enter_context(Receiver())
        drawn = rng.sample(ways, rng.randint(1, 3))
        others = [way(rng, folder, str(n), stack) for n, way in enumerate(drawn)]
        for other in others:
            timer = threading.Timer(rng.uniform(0.5, lasts - 1), other.hurt)
            timer.start()
            stack.callback(timer.join)
        to = [part for o in others for part in ("--to", o.address)]
        arguments = ["run", "wall.toml", "scene.py", "--to", receiver.address, *to]
        arguments += ["--for", f"{lasts:.1f}s", "--log", "show.log"]
        going = stack.enter_context(Going(arguments, folder))
        status = going.wait(lasts + 30)
        log = (folder / "show.log").read_text()
        told = _of_the_wall(receiver, status, going.said, lasts)
        for way, other in zip(drawn, others, strict=True):
            plain = other.address.split("?")[0]
            name = way.__name__.strip("_")
            if other.fails and f"{plain}" not in log.replace(" to " + receiver.address, ""):
                told.append(f"{name}: the log does not mention {plain}: {log!r}")
            lines = [line for line in log.splitlines() if plain in line and " is out" in line]
            if not other.fails and lines:
                told.append(f"{name}: said to be out: {lines[0]}")
            if len(lines) > 20 * lasts:
                told.append(f"{name}: {len(lines)} lines in the log")
        return told + going.left()


def _of_the_wall(receiver: Receiver, status: int | None, said: str, lasts: float) -> list[str]:
    told = []
    if status != 0:
        told.append(f"exit status {status}: {said[-500:]}")
    if TRACEBACK.decode() in said:
        told.append(f"a traceback: {said[-500:]}")
    lit = [h for h in receiver.heard if any(h.levels)]
    if len(lit) < lasts * 30 / 3:
        told.append(f"only {len(lit)} frames on the wall in {lasts:.1f} s")
    if receiver.longest_silence_s() > STANDARD_S:
        told.append(f"the wall stood for {receiver.longest_silence_s():.1f} s")
    if not receiver.dark:
        told.append("the wall is not dark at the end")
    return told


def wall_past_help(rng: random.Random, folder: Path) -> list[str]:
    """The first output is on a full disk: the show ends, with the company dark, status 1."""
    if not can_mount():
        return []
    wall(folder)
    scenes.plain(folder)
    with contextlib.ExitStack() as stack:
        receiver = stack.enter_context(Receiver())
        stack.enter_context(small_disk(folder / "disk", rng.choice((40, 300, 900))))
        arguments = ["run", "wall.toml", "scene.py", "--to", "vcd:disk/trace.vcd"]
        arguments += ["--to", receiver.address, "--log", "show.log"]
        going = stack.enter_context(Going(arguments, folder))
        status = going.wait(30)
        told = [] if status == 1 else [f"exit status {status}, not 1: {going.said[-300:]}"]
        if "trace.vcd" not in (folder / "show.log").read_text():
            told.append("the log does not tell what failed")
        if not receiver.heard or not receiver.dark:
            told.append("the company is not dark at the end")
        return told + going.left()


def wall_comes_back(rng: random.Random, folder: Path) -> list[str]:
    """The wall's cable is pulled and put in again, perhaps twice: the show goes on by itself."""
    wall(folder)
    scenes.plain(folder)
    with contextlib.ExitStack() as stack:
        receiver = stack.enter_context(Receiver())
        link = folder / "port"
        board = Board(link, LEDS)
        arguments = ["run", "wall.toml", "scene.py", "--to", f"serial://{link}"]
        arguments += ["--to", receiver.address, "--log", "show.log"]
        going = stack.enter_context(Going(arguments, folder))
        told = []
        for pull in range(rng.randint(1, 2) + 1):
            if not until(lambda b=board: b.latched > 20, 20):  # type: ignore[misc]
                told.append(f"the wall shows nothing after {pull} pulls: {going.said[-400:]}")
                break
            board.vanish()
            if not until(lambda: going.ended, rng.uniform(0.1, 2.5)):
                board = Board(link, LEDS)
        stack.callback(board.vanish)
        if going.ended:
            told.append(f"the show ended: {going.said[-300:]}")
        elif until(lambda: board.latched > 5, 20):
            going.kill(rng.choice((2, 15, 1)))  # type: ignore[arg-type]
            if going.wait(15) != 0:
                told.append(f"exit status {going.process.returncode}: {going.said[-300:]}")
        log = (folder / "show.log").read_text()
        if str(link) not in log.split("frames/s", 1)[-1]:
            told.append(f"the log does not mention the wall: {log!r}")
        return told + going.left()


def kept_of_the_show(rng: random.Random, folder: Path) -> list[str]:
    """Recording and log on full disks or in folders that disappear: the wall goes on."""
    wall(folder)
    scenes.write(folder, """
def picture(time_s, display):
    print("x" * 2000, time_s)
    return _bright(time_s, display)
""")  # fmt: skip
    lasts = rng.uniform(4, 6)
    with contextlib.ExitStack() as stack:
        receiver = stack.enter_context(Receiver())
        kept, goes_after = folder / "kept", 0
        if can_mount() and rng.random() < 0.7:
            stack.enter_context(small_disk(kept, rng.choice((8, 20, 60))))
        else:
            kept.mkdir()
            goes_after = rng.randint(1, 60)
        arguments = ["run", "wall.toml", "scene.py", "--to", receiver.address]
        arguments += ["--for", f"{lasts:.1f}s", "--record", "kept/recording"]
        if rng.random() < 0.5:
            arguments += ["--log", "kept/show.log"]
        going = stack.enter_context(Going(arguments, folder))
        if goes_after and until(lambda: len(receiver.heard) > goes_after, 20):
            shutil.rmtree(kept)
        status = going.wait(lasts + 30)
        return _of_the_wall(receiver, status, going.said, lasts) + going.left()


def scene_fails(rng: random.Random, folder: Path) -> list[str]:
    """A scene fails several times in any way: each failure and each return is in the log."""
    wall(folder)
    times = rng.randint(1, 3)
    _, words = scenes.failing(rng, folder, times)
    with contextlib.ExitStack() as stack:
        receiver = stack.enter_context(Receiver())
        arguments = ["run", "wall.toml", "scene.py", "--to", receiver.address]
        arguments += ["--log", "show.log", "--patience", "1s"]
        if rng.random() < 0.3:
            arguments += ["--otherwise", "aurora"]
        going = stack.enter_context(Going(arguments, folder))
        starts = folder / "starts"
        told = []
        if not until(lambda: len(list(starts.iterdir())) > times or going.ended, 40):
            told.append(f"not started again: {going.said[-500:]}")
        until(lambda: False, 1)
        going.kill(15)  # type: ignore[arg-type]
        if going.wait(15) != 0:
            told.append(f"exit status {going.process.returncode}: {going.said[-300:]}")
        log = (folder / "show.log").read_text()
        told += [f"the log lacks {word!r}: {log}" for word in words if word not in log]
        back = [line for line in log.splitlines() if "without" in line and "scene" in line]
        if len(back) < times:
            told.append(f"{len(back)} returns with the time without, {times} failures: {log}")
        return told + going.left()
