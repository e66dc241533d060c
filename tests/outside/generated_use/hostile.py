"""Files that a command is asked to read: devices, pipes, bombs, and faults by the thousand."""

from __future__ import annotations

import contextlib
import os
import random
import socket
import zipfile
import zlib
from pathlib import Path

from tests.outside.generated_use import commands
from tests.outside.generated_use.running import Ran, run, wall

READERS = (  # {bad} stands for the file; the ending that it has
    ("map {bad}", ".toml"), ("check {bad} --only map", ".toml"), ("render {bad} -o x.png", ".toml"),
    ("run {bad} rows --to memory: --for 1s", ".toml"), ("light {bad}", ".toml"),
    ("service {bad} rows --to vcd:x.vcd", ".toml"), ("listen {bad} --serial --for 1s", ".toml"),
    ("check wall.toml --map {bad}", ".csv"), ("map mapped.toml", ".csv"),
    ("decode {bad} --chip WS2812B", ".vcd"), ("decode {bad} --chip WS2812B", ".csv"),
    ("decode {bad} --chip WS2812B --rate 24MHz --bit 0", ".bin"),
    ("decode {bad} --chip WS2812B --rate 24MHz --packed", ".bin"),
    ("decode {bad} --chip WS2812B", ".vcd.gz"),
    ("listen wall.toml --capture {bad} --to memory: --for 1s", ".vcd"),
    ("decode capture.vcd --display {bad}", ".toml"),
    ("render wall.toml {bad} -o x.png", ".py"), ("render wall.toml {bad} -o x.png", ".png"),
    ("render wall.toml {bad} -o x.png", ".jpg"), ("render wall.toml {bad} -o x.png", ".mp4"),
    ("render wall.toml {bad} -o x.png", ".gif"), ("record wall.toml {bad} -o x", ".png"),
    ("flash wall.toml {bad} --seconds 1", ".png"), ("power wall.toml {bad} --seconds 1", ".gif"),
    ("soak wall.toml {bad} --hours 0.002 --fault none", ".py"),
    ("run wall.toml {bad} --to memory: --for 1s", ".png"),
    ("run wall.toml rows --otherwise {bad} --to memory: --for 1s", ".png"),
    ("export {bad} x.png", ""), ("compare {bad} other", ""), ("compare rec {bad}", ""),
    ("export rec x.png --display {bad}", ".toml"), ("flash wall.toml {bad}", ""),
    ("export rec/../{part}index.jsonl x.png", ".part"), ("export broken x.png", ".jsonl"),
    ("export broken x.npz", ".npz"), ("export broken x.csv", ".layout"),
)  # fmt: skip
MOST_MB = 500  # with matplotlib, OpenCV and PyAV loaded a good run takes about 200


def unreadable(rng: random.Random, folder: Path) -> list[str]:
    """An irregular or endless file instead of a file: a clear error at once."""
    commands.prepared(folder)
    line, ending = rng.choice([r for r in READERS if r[1] != ".part"])
    bad = folder / f"bad{ending}"
    way = rng.choice(
        ("zero", "urandom", "fifo", "socket", "folder", "sparse", "loop", "gone", "tty")
    )
    with contextlib.ExitStack() as stack:
        _special(way, bad, stack)
        wall(folder, name="mapped.toml")
        text = (
            (folder / "mapped.toml")
            .read_text()
            .replace('start = "top-left"', f'map = "bad{ending}"')
        )
        text = text.replace('along = "rows"\n', "").replace('path = "progressive"\n', "")
        (folder / "mapped.toml").write_text(text)
        if "broken" in line:
            _broken(folder, bad, ending)
        arguments = [part.replace("{bad}", bad.name) for part in line.split()]
        ran = run(arguments, folder, limit_s=40)
        return [f"{line}, {ending} is {way}: {t}" for t in _refused(ran, arguments)]


def _refused(ran: Ran, arguments: list[str]) -> list[str]:
    told = ran.refused(MOST_MB)
    if arguments[0] == "run" and ran.status in (0, 1):  # a show goes on without its scene
        told = ran.fell(MOST_MB)
    if ran.cpu_s > 15:
        told.append(f"it took {ran.cpu_s:.0f} s of CPU")
    if len(ran.said) > 20_000:
        told.append(f"it said {len(ran.said)} characters")
    return told


def _special(way: str, bad: Path, stack: contextlib.ExitStack) -> None:
    if way in ("zero", "urandom"):
        bad.symlink_to(f"/dev/{way}")
    elif way == "fifo":
        os.mkfifo(bad)
    elif way == "socket":
        stack.enter_context(socket.socket(socket.AF_UNIX)).bind(str(bad))
    elif way == "folder":
        bad.mkdir()
    elif way == "sparse":
        with bad.open("wb") as file:
            file.truncate(6_000_000_000)
    elif way == "loop":
        bad.symlink_to(bad.name)
    elif way == "tty":
        there, away = os.openpty()
        stack.callback(os.close, there)
        stack.callback(os.close, away)
        bad.symlink_to(os.ttyname(away))


def _broken(folder: Path, bad: Path, ending: str) -> None:
    """A recording one file of which is the bad one."""
    name = {".jsonl": "index.jsonl", ".npz": "000000.npz", ".layout": "layout.npz"}[ending]
    (folder / "rec").rename(folder / "broken")
    (folder / "broken" / name).unlink()
    (folder / "broken" / name).symlink_to(bad)


def garbage(rng: random.Random, folder: Path) -> list[str]:
    """A good file, cut, damaged or of another kind: an error, never a crash."""
    commands.prepared(folder)
    line, ending = rng.choice([r for r in READERS if r[1] not in (".part", "")])
    bad = folder / f"bad{ending}"
    good = {
        ".toml": folder / "wall.toml", ".vcd": folder / "capture.vcd",
        ".npz": folder / "rec/000000.npz",
        ".jsonl": folder / "rec/index.jsonl", ".layout": folder / "rec/layout.npz",
    }.get(ending)  # fmt: skip
    if ending in (".png", ".gif", ".mp4"):
        good = folder / f"good{ending}"
        assert run(["export", "rec", good.name], folder).status == 0
    elif ending == ".csv":
        good = folder / "good.csv"
        assert run(["map", "wall.toml", "-o", "good.csv"], folder).status == 0
    data = bytearray(good.read_bytes() if good else rng.randbytes(2000))
    way = rng.choice(
        ("cut", "flips", "noise", "empty", "nul", "utf-16", "doubled", "other kind", "lines")
    )
    if way == "cut":
        del data[rng.randrange(len(data)) :]
    elif way == "flips":
        for _ in range(rng.choice((1, 3, 30))):
            data[rng.randrange(len(data))] = rng.randrange(256)
    elif way == "noise":
        at = rng.randrange(len(data))
        data[at : at + 20] = rng.randbytes(rng.choice((1, 20, 5000)))
    elif way == "empty":
        data.clear()
    elif way == "nul":
        data[:] = bytes(rng.choice((1, 1000, 300_000)))
    elif way == "utf-16":
        data = bytearray(data.decode("latin-1").encode("utf-16"))
    elif way == "doubled":
        data += bytes(data)
    elif way == "other kind":
        data = bytearray(
            (folder / rng.choice(("wall.toml", "capture.vcd", "rec/layout.npz"))).read_bytes()
        )
    else:
        data = bytearray(
            b"\n".join(rng.sample(bytes(data).split(b"\n"), len(bytes(data).split(b"\n"))))
        )
    bad.write_bytes(bytes(data))
    text = (folder / "wall.toml").read_text().replace('start = "top-left"', 'map = "bad.csv"')
    text = text.replace('along = "rows"\n', "").replace('path = "progressive"\n', "")
    (folder / "mapped.toml").write_text(text)
    if "broken" in line:
        _broken(folder, bad, ending)
    ran = run([part.replace("{bad}", bad.name) for part in line.split()], folder, limit_s=60)
    told = ran.fell(MOST_MB)
    if ran.status not in (0, 1, 2):
        told.append(f"exit status {ran.status}")
    if len(ran.err) > 20_000:
        told.append(f"it said {len(ran.err)} characters")
    if ending == ".py":  # the scene's own traceback may be shown: it is the user's code
        told = [t for t in told if "traceback" not in t]
    return [f"{line}, {ending}, {way}: {t}" for t in told]


def bombs(rng: random.Random, folder: Path) -> list[str]:
    """A recording, picture or packed capture of a few kilobytes that unpacks to gigabytes."""
    commands.prepared(folder)
    way = rng.choice(("chunk", "header", "layout", "png", "vcd.gz", "index", "zip", "count"))
    asked = rng.choice((["export", "rec", "x.npz"], ["compare", "rec", "other"],
        ["export", "rec", "x.png"],
                        ["flash", "wall.toml", "rec"],
                        ["render", "wall.toml", "rec", "-o", "x.png"]))  # fmt: skip
    if way in ("chunk", "header", "count"):
        n = 3_000_000_000
        shape = {
            "chunk": f"({n // 96}, 32, 3)",
            "header": "(99999999999999, 32, 3)",
            "count": "(30, 32, 3)",
        }
        _bomb(folder / "rec/000000.npz", {"times_ns": ("<i8", "(30,)", 240),
              "drives": ("|u1", shape[way], n)})  # fmt: skip
    elif way == "layout":
        _bomb(folder / "rec/layout.npz",
            dict.fromkeys(("cell", "line", "led", "gap"),
                ("<i8", "(300000000,)", 2400000000)))  # fmt: skip
    elif way == "zip":
        with zipfile.ZipFile(folder / "rec/000000.npz", "w", zipfile.ZIP_DEFLATED) as file:
            for i in range(20_000):
                file.writestr(f"drives{i}.npy", b"\0" * 1000)
    elif way == "index":
        row = '{"chunk": "000000.npz", "frames": 30, "from_ns": 0, "to_ns": 1, "lost": 0}\n'
        text = (folder / "rec/index.jsonl").read_text().splitlines()[0]
        bad = rng.choice((row * 300_000, row.replace("30", "9" * 30),
            row.replace("000000.npz", "/etc/passwd"),
                          row.replace("000000.npz", "../wall.toml"), row.replace("30", "-1"),
                          "[" * 900_000, '{"chunk": ' * 300_000,
                          row.replace('"frames": 30, ', "")))  # fmt: skip
        (folder / "rec/index.jsonl").write_text(text + "\n" + bad)
    elif way == "png":
        side = rng.choice((30_000, 60_000))
        head = b"IHDR" + side.to_bytes(4, "big") * 2 + b"\x08\x02\0\0\0"
        body = b"IDAT" + zlib.compress(bytes(side * 40), 9)
        parts = (head, body, b"IEND")
        data = b"".join(
            (len(p) - 4).to_bytes(4, "big") + p + zlib.crc32(p).to_bytes(4, "big") for p in parts
        )
        (folder / "bad.png").write_bytes(b"\x89PNG\r\n\x1a\n" + data)
        asked = ["render", "wall.toml", "bad.png", "-o", "x.png"]
    else:
        import gzip

        with gzip.open(folder / "bad.vcd.gz", "wb", 9) as file:
            file.write(
                b"$timescale 1 ns $end\n$var wire 1 ! a $end\n$enddefinitions $end\n#0\n0!\n"
            )
            for _ in range(rng.choice((100, 300))):
                file.write(rng.choice((b" ", b"\n", b"x", b"0!\n", b"1")) * 2_000_000)
        asked = ["decode", "bad.vcd.gz", "--chip", "WS2812B"]
    ran = run(asked, folder, limit_s=90)
    told = ran.fell(900)
    if ran.status == 0 and way not in ("zip", "vcd.gz") and way != "index":
        told.append("exit status 0")
    if b"root:" in ran.out + ran.err:
        told.append("it shows a foreign file")
    return [f"{way} {asked[0]}: {t}" for t in told]


def _bomb(path: Path, arrays: dict[str, tuple[str, str, int]]) -> None:
    """An .npz whose arrays are zeros without end, as a few kilobytes."""
    zeros = bytes(1 << 20)
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as file:
        for name, (kind, shape, size) in arrays.items():
            text = f"{{'descr': '{kind}', 'fortran_order': False, 'shape': {shape}, }}"
            text += " " * (-(len(text) + 11) % 64) + "\n"
            with file.open(f"{name}.npy", "w", force_zip64=True) as entry:
                entry.write(b"\x93NUMPY\x01\0" + len(text).to_bytes(2, "little") + text.encode())
                for _ in range(min(size, 800_000_000) >> 20):
                    entry.write(zeros)
                entry.write(bytes(min(size, 800_000_000) & ((1 << 20) - 1)))


def foreign(rng: random.Random, folder: Path) -> list[str]:
    """A path in a display file leads to somebody's secrets: nothing of them is printed."""
    wall(folder)
    secret = "swordfish-" + "".join(rng.choices("abcdefgh", k=12))
    where = folder / "secret"
    where.write_text(rng.choice(("{s}\n", "root:{s}:0:0\n", "a,b,c,{s}\n1,2,3,{s}\n",
        "[{s}]\n{s} = {s}\n")).replace("{s}", secret) * 3)  # fmt: skip
    text = (folder / "wall.toml").read_text().replace('start = "top-left"', f'map = "{where}"')
    text = text.replace('along = "rows"\n', "").replace('path = "progressive"\n', "")
    (folder / "mapped.toml").write_text(text)
    ran = run(
        rng.choice((["map", "mapped.toml"], ["check", "mapped.toml"], ["light", "mapped.toml"])),
        folder,
    )
    told = ran.refused()
    if secret in ran.said:
        told.append(f"the file's text is shown: {ran.said[:300]!r}")
    return told
