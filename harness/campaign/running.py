"""Runs the parts of a campaign: here, on processes, or on a Dask cluster; and goes on after a kill.

A part depends on nothing but the trial and its walls, and parts do not depend on who runs them. So
results are the same to the bit. Each part that is done can be kept as a file, in a folder whose
name is a digest of all that results depend on: display, patterns, faults, and the code itself.
"""

from __future__ import annotations

import hashlib
import io
import multiprocessing
import os
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any
from zipfile import BadZipFile

import numpy as np

import emulator
from emulator.clock import RealClock
from emulator.errors import ForeglowError, of_extra
from emulator.files import write_whole
from harness.campaign.part import Part, Trial, observe_part
from harness.campaign.settled import Wall
from harness.campaign.watch import OBSERVERS

_WAIT_S = 10  # for a scheduler


@dataclass(frozen=True)
class Where:
    """Where parts run, and where those that are done are kept.

    workers: processes of this machine; 1: this one. cluster: the address of a Dask scheduler, such
    as tcp://10.0.0.7:8786, or None. keep: a folder, or None.
    """

    workers: int = 1
    cluster: str | None = None
    keep: Path | None = None


HERE = Where()


@dataclass(frozen=True)
class Took:
    """Seconds that a campaign took: from begin to end, and of that the parts, on so many workers.

    done: how many parts were calculated; the others had been kept.
    """

    whole_s: float
    parts_s: float
    workers: int
    done: int

    @property
    def overhead_s(self) -> float:
        """Seconds of all workers together that went into no part."""
        return max(self.whole_s * self.workers - self.parts_s, 0.0)


def run_parts(
    trial: Trial, walls: Sequence[Sequence[Wall]], where: Where, done: Callable[[], object]
) -> tuple[list[Part], Took]:
    """All parts, in order. done: is called after each. Of those kept, nothing is left at the end.

    Raises UnsupportedError if Dask is missing, ForeglowError if its scheduler does not answer.
    """
    clock = RealClock()
    kept = None if where.keep is None else where.keep / _key(trial, walls)
    found: dict[int, Part] = {}
    for number in range(len(walls)):
        part = None if kept is None else _read(kept / _name(number))
        if part is not None:
            found[number] = part
            done()
    left = [number for number in range(len(walls)) if number not in found]
    seconds, workers = 0.0, 1
    if left:
        workers, results = _results(trial, {number: walls[number] for number in left}, where)
        for number, part, took_s in results:
            found[number] = part
            seconds += took_s
            if kept is not None:
                write_whole(kept / _name(number), _written(part))
            done()
    if kept is not None:
        _forget(kept, len(walls))
    took = Took(clock.now_ns() / 1e9, seconds, workers, len(left))
    return [found[number] for number in range(len(walls))], took


def _forget(folder: Path, parts: int) -> None:
    """Remove the parts of this campaign, and its folder and the one around it if they are empty."""
    for number in range(parts):
        (folder / _name(number)).unlink(missing_ok=True)
    for one in (folder, folder.parent):
        if one.is_dir() and not any(one.iterdir()):
            one.rmdir()


_Result = tuple[int, Part, float]


def _results(
    trial: Trial, walls: dict[int, Sequence[Wall]], where: Where
) -> tuple[int, Iterator[_Result]]:
    """How many workers there are, and results as they come."""
    if where.cluster is not None:
        return _on_cluster(trial, walls, where.cluster)
    workers = min(where.workers, len(walls))
    if workers <= 1:
        return 1, (_observe(trial, number, some) for number, some in walls.items())
    return workers, _on_processes(trial, walls, workers)


def _observe(trial: Trial, number: int, walls: Sequence[Wall]) -> _Result:
    clock = RealClock()
    part = observe_part(trial, walls)
    return number, part, clock.now_ns() / 1e9


def _on_processes(
    trial: Trial, walls: dict[int, Sequence[Wall]], workers: int
) -> Iterator[_Result]:
    pool = ProcessPoolExecutor(
        workers, multiprocessing.get_context("spawn"), initializer=_begin, initargs=(trial,)
    )
    try:
        coming = [pool.submit(_observe_here, number, some) for number, some in walls.items()]
        for future in as_completed(coming):
            yield future.result()
    finally:
        pool.shutdown(cancel_futures=True)


_trial: Trial | None = None  # of a worker process


def _begin(trial: Trial) -> None:
    """Keep the trial in a worker process, which ends when its parent does, even by a kill."""
    global _trial
    _trial = trial
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def _observe_here(number: int, walls: Sequence[Wall]) -> _Result:
    assert _trial is not None
    return _observe(_trial, number, walls)


def _on_cluster(
    trial: Trial, walls: dict[int, Sequence[Wall]], address: str
) -> tuple[int, Iterator[_Result]]:
    distributed = need_distributed()
    try:
        client = distributed.Client(address, timeout=_WAIT_S)
    except (OSError, ValueError, MemoryError) as error:  # the last: what is there speaks otherwise
        raise ForeglowError(
            f"no Dask scheduler answers: {error}",
            place=address,
            fix="start `dask scheduler` and, for each worker, `dask worker`; give its address.",
        ) from error
    workers = len(client.nthreads())

    def results() -> Iterator[_Result]:
        with client:
            shared = client.scatter(trial, broadcast=workers > 0, hash=False)
            coming = [
                client.submit(_observe, shared, number, some, pure=False)
                for number, some in walls.items()
            ]
            for future in distributed.as_completed(coming):
                yield future.result()

    return max(workers, 1), results()


def need_distributed() -> Any:
    """The module; raises UnsupportedError if it is missing."""
    with of_extra("cluster", "a cluster needs Dask distributed"):
        import distributed  # slow to load
    return distributed


def _name(number: int) -> str:
    return f"part-{number:05}.npz"


def _written(part: Part) -> bytes:
    file = io.BytesIO()
    arrays: dict[str, Any] = {f"signatures_{name}": part.signatures[name] for name in OBSERVERS}
    arrays |= {f"makes_{name}": part.makes[name] for name in OBSERVERS}
    np.savez_compressed(file, **arrays)
    return file.getvalue()


def _read(path: Path) -> Part | None:
    """A part that was kept, or None if there is none that can be read."""
    try:
        with np.load(io.BytesIO(path.read_bytes())) as held:
            return Part(
                {name: held[f"signatures_{name}"] for name in OBSERVERS},
                {name: held[f"makes_{name}"] for name in OBSERVERS},
            )
    except (OSError, ValueError, KeyError, EOFError, BadZipFile):
        return None


def _key(trial: Trial, walls: Sequence[Sequence[Wall]]) -> str:
    """A digest of all that the results depend on."""
    digest = hashlib.sha256()
    for source in _sources():
        digest.update(source.read_bytes())
    display, wiring = trial.display, trial.display.wiring
    for part in fields(display):
        if part.name != "wiring":
            digest.update(repr(getattr(display, part.name)).encode())
    digest.update(repr((wiring.runs, wiring.line_lengths)).encode())
    for placed in (wiring.row, wiring.column, wiring.run, wiring.hidden):
        digest.update(np.asarray(placed).tobytes())
    for pattern in trial.patterns:
        digest.update(f"{pattern.name} {pattern.hold_ms} {pattern.steps(display)}".encode())
        for _, pictures in pattern.in_blocks(display):
            digest.update(pictures.tobytes())
    digest.update(
        repr([[str(fault) for fault in wall] for part in walls for wall in part]).encode()
    )
    return digest.hexdigest()[:16]


def _sources() -> list[Path]:
    """The code that results depend on: the emulator, the patterns and the campaign itself."""
    here = Path(__file__).parent
    folders = Path(emulator.__file__ or "").parent, here.parent / "patterns", here
    return sorted(source for folder in folders for source in folder.rglob("*.py"))
