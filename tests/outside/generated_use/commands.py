"""Every command that writes a file, and what it needs to be asked."""

from __future__ import annotations

import atexit
import random
import shutil
import tempfile
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from tests.outside.generated_use.running import run, wall


@dataclass(frozen=True)
class Writer:
    """A command; `{target}` stands for the file that it writes."""

    arguments: tuple[str, ...]
    suffixes: tuple[str, ...]
    force: bool = True  # it has --force
    folder: bool = False  # it writes a folder
    open_ended: bool = False  # log or link: what it has is kept, not replaced

    def asked(self, target: str, force: bool = False) -> list[str]:
        asked = [part.replace("{target}", target) for part in self.arguments]
        return [*asked, "--force"] if force and self.force else asked


def _w(line: str, suffixes: str, **more: bool) -> Writer:
    return Writer(tuple(line.split()), tuple(suffixes.split()), **more)


WRITERS = (
    _w("new {target} --columns 6 --rows 4", ".toml", force=False),
    _w("map wall.toml -o {target}", ".csv .json .svg .h .c .txt"),
    _w("map wall.toml --format csv -o {target}", ".csv"),
    _w("check wall.toml --only wire --sheet {target}", ".png"),
    _w("decode capture.vcd --display wall.toml --sheet {target}", ".png"),
    _w("render wall.toml rows --width 64 -o {target}", ".png"),
    _w("render wall.toml rows --width 64 --compare depth=5,10 -o {target}", ".png"),
    _w("light wall.toml --plot {target}", ".png .svg"),
    _w("power wall.toml --plot {target}", ".png .svg"),
    _w("power wall.toml --plan 4.5 --write {target}", ".toml"),
    _w("flash wall.toml rows --seconds 2 --plot {target}", ".png .svg"),
    _w("soak wall.toml rows --hours 0.002 --fault none --plot {target}", ".png .svg"),
    _w("record wall.toml rows --seconds 2 -o {target}", " ", force=False, folder=True),
    _w("export rec {target}", ".png .gif .apng .mp4 .npz .csv"),
    _w("export rec {target} --drives", ".png .csv"),
    _w("compare rec other -o {target}", ".png"),
    _w("run wall.toml rows --to vcd:{target} --for 1s", ".vcd", force=False),
    _w("run wall.toml rows --to e131://127.0.0.1:9 --for 1s --log {target}", ".log",
       force=False, open_ended=True),
    _w("run wall.toml rows --to e131://127.0.0.1:9 --for 1s --record {target}", " ",
       force=False, folder=True),
    _w("listen wall.toml --serial --name {target} --to memory: --for 1s", ".port",
       force=False, open_ended=True),
    _w("listen wall.toml --e131 --address e131://127.0.0.1:0 --to vcd:{target} --for 1s", ".vcd",
       force=False),
)  # fmt: skip


def prepared(folder: Path) -> None:
    """A display file, two recordings that differ, and a capture."""
    made = _made()
    shutil.copytree(made, folder, dirs_exist_ok=True)
    for index in folder.glob("*/index.jsonl"):
        index.write_text(index.read_text().replace(str(made), str(folder)))


@cache
def _made() -> Path:
    """Made once a process, by the commands themselves."""
    folder = Path(tempfile.mkdtemp(prefix="prepared-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    wall(folder)
    for scene, name in (("rows", "rec"), ("chase", "other")):
        ran = run(["record", "wall.toml", scene, "--seconds", "1", "-o", name], folder)
        assert ran.status == 0, ran.said
    ran = run(["run", "wall.toml", "rows", "--to", "vcd:capture.vcd", "--for", "1s"], folder)
    assert ran.status == 0, ran.said
    return folder


def suffix(rng: random.Random, writer: Writer) -> str:
    return rng.choice(writer.suffixes or ("",))
