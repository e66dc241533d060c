"""Scene files of a show: bright, moving, and bad in the ways that are asked."""

from __future__ import annotations

import random
from pathlib import Path

HEAD = """\
import ctypes, os, re, signal, subprocess, sys, threading, time
import numpy as np

def _bright(time_s, display):
    shown = np.full(display.picture_shape, 60, np.uint8)
    shown[:, int(time_s * 30) % display.grid.columns] = 255, 160, 60
    return shown
"""

BUSY = (  # in C, the interpreter lock held
    "sum(range(10**12))",
    "re.match('(a+)+$', 'a' * 40 + 'b')",
    "10 ** 10 ** 9",
    "max(range(10**12))",
    "[0] * 2 == sorted(range(10**12))",
    "ctypes.PyDLL(None).sleep(600)",
    "ctypes.PyDLL(None).pause()",
)

CHILDREN = (  # each is marked by the environment, or by its arguments
    "subprocess.Popen(['sleep', '600'])",
    "subprocess.Popen(['sleep', '600'], start_new_session=True)",
    "subprocess.Popen(['sh', '-c', 'trap \"\" TERM HUP INT; sleep 600 & sleep 600'])",
    "subprocess.Popen(['sh', '-c', 'sleep 600 & sleep 600 & exit'], start_new_session=True)",
    "os.fork() or time.sleep(600)",
    "os.fork() or (os.setsid(), os.fork() or time.sleep(600), os._exit(0))",
    "os.fork() or [signal.signal(n, signal.SIG_IGN) for n in (1, 2, 15)] and time.sleep(600)",
    "threading.Thread(target=lambda: subprocess.run(['sleep', '600']), daemon=True).start()",
    "__import__('multiprocessing').get_context('spawn').Pool(2)",
    "subprocess.Popen(['setsid', 'sh', '-c', 'setsid sleep 600 & sleep 600'], close_fds=False)",
)


def write(folder: Path, body: str, name: str = "scene.py") -> Path:
    path = folder / name
    path.write_text(HEAD + "\n" + body)
    return path


def plain(folder: Path) -> Path:
    return write(folder, "picture = _bright\n")


def nasty(rng: random.Random, folder: Path) -> Path:
    """Children of several kinds at the first picture; busy in C from some picture on, or not."""
    begun = "\n".join(f"    {c}" for c in rng.sample(CHILDREN, rng.randint(0, 3))) or "    pass"
    busy = rng.choice((*BUSY, "while True: pass", "time.sleep(600)", "None"))
    ignoring = rng.choice((
        "pass", "[signal.signal(n, signal.SIG_IGN) for n in (1, 2, 13, 15)]", "os.setsid()",
        "os.setpgid(0, 0)",
    ))  # fmt: skip
    return write(folder, f"""
_n = 0
def _begin():
    try:
        {ignoring}
    except OSError:
        pass
{begun}

def picture(time_s, display):
    global _n
    if _n == 0:
        _begin()
    _n += 1
    if _n > {rng.randint(2, 40)}:
        open("is-busy", "w").close()
        {busy}
    return _bright(time_s, display)
""")  # fmt: skip


FAILING = {  # way to fail → what the log must hold of it
    "raise ValueError('boom-{n}')": "boom-{n}",
    "raise SystemExit('boom-{n}')": "",
    "os._exit(3)": "",
    "os.kill(os.getpid(), 9)": "",
    "os.kill(os.getpid(), 11)": "",
    "os.abort()": "",
    "return 'boom-{n}'": "",
    "return np.zeros((1, 2, 3), np.uint8)": "",
    "return np.full(display.picture_shape, np.nan)": "",
    "time.sleep(600)": "",
    "sys.stdout.close(); sys.stdin.close(); raise KeyError('boom-{n}')": "boom-{n}",
    "raise KeyboardInterrupt": "",
    "raise MemoryError('boom-{n}')": "boom-{n}",
    "1 / 0": "ZeroDivisionError",
    "_ = (lambda f: f(f))(lambda f: f(f))": "RecursionError",
}


def failing(rng: random.Random, folder: Path, times: int) -> tuple[Path, list[str]]:
    """A scene that fails so many times, some frames after each start; what the log must hold."""
    ways = rng.choices(list(FAILING), k=times)
    branches = "\n".join(
        f"    if n == {n} and _frames > {rng.randint(0, 20)}:\n        {w.format(n=n)}"
        for n, w in enumerate(ways)
    )
    scene = write(folder, f"""
_frames = 0
_started = len(os.listdir("starts"))
open(f"starts/{{_started}}", "w").close()

def picture(time_s, display):
    global _frames
    _frames += 1
    n = _started
{branches}
    return _bright(time_s, display)
""")  # fmt: skip
    (folder / "starts").mkdir()
    return scene, [FAILING[w].format(n=n) for n, w in enumerate(ways) if FAILING[w]]
