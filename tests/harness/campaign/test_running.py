"""A campaign is the same to the bit whatever runs it, and goes on after a kill."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from emulator.errors import ForeglowError, UnsupportedError
from harness.campaign import running
from harness.campaign.campaign import run_campaign, sampled_pairs, single_faults
from harness.campaign.running import Where
from harness.campaign.watch import OBSERVERS
from harness.patterns.pattern import PATTERNS, Pattern
from tests.harness.campaign.test_campaign import wall, without_chance

TOML = """\
[grid]
columns = 3
rows = 2
[chip]
part = "WS2812B"
[wiring]
start = "top-left"
"""


def same(one, other):
    return all(
        np.array_equal(getattr(getattr(a, name), what), getattr(getattr(b, name), what))
        for a, b in ((one, other), (one.pairs, other.pairs))
        for name in OBSERVERS
        for what in ("signatures", "makes")
    )


@pytest.fixture
def small(monkeypatch):
    """A wall whose campaign has several parts, and two patterns."""
    monkeypatch.setattr("harness.campaign.settled._WALLS_AT_ONCE", 15)
    display = wall(rows=2, columns=3)
    return {
        "display": display, "patterns": [PATTERNS["channels"], PATTERNS["rows"]],
        "faults": without_chance(display)[::3], "pairs": 20,
    }  # fmt: skip


def test_parts_that_are_kept_are_not_calculated_again(small, tmp_path, monkeypatch):
    """A kill in the middle, as an error; then one part is broken on the disk."""
    whole, calls, real = run_campaign(**small), [], running.observe_part

    def killed(trial, walls):
        if len(calls) == 3:
            raise KeyboardInterrupt
        calls.append(walls)
        return real(trial, walls)

    monkeypatch.setattr(running, "observe_part", killed)
    with pytest.raises(KeyboardInterrupt):
        run_campaign(**small, where=Where(keep=tmp_path / "parts"))
    files = sorted((tmp_path / "parts").rglob("*.npz"))
    assert len(files) == 3
    files[1].write_bytes(files[1].read_bytes()[:100])
    again = []
    monkeypatch.setattr(
        running, "observe_part", lambda trial, walls: again.append(walls) or real(trial, walls)
    )
    resumed = run_campaign(**small, where=Where(keep=tmp_path / "parts"))
    assert same(whole, resumed)
    assert again[0] == calls[1]
    assert again[1] not in calls
    assert resumed.took.done == len(again) > 1
    assert not (tmp_path / "parts").exists()  # nothing is left of what is done


def test_parts_of_another_wall_are_not_taken(small, tmp_path):
    keys = []
    for columns in (3, 4):
        trial = running.Trial.of(wall(rows=2, columns=columns), small["patterns"], [])
        keys.append(running._key(trial, []))
    assert keys[0] != keys[1]


def test_a_sample_of_pairs_has_no_doubles_and_is_always_the_same():
    faults = single_faults(wall(rows=1, columns=2))
    some = sampled_pairs(faults, 50)
    assert some == sampled_pairs(faults, 50)
    assert len({frozenset(map(str, pair)) for pair in some}) == 50
    assert len(sampled_pairs(faults[:5], 99)) == 10


def test_a_pattern_without_a_name_runs_in_one_process_only(small):
    mine = Pattern("mine", "", 1000, lambda display: 1, PATTERNS["dark"].draw)
    small["patterns"] = [mine]
    assert run_campaign(**small).patterns == (mine,)
    with pytest.raises(UnsupportedError, match="'mine' is not known to other processes"):
        run_campaign(**small, where=Where(workers=2))


def test_without_dask_it_says_what_to_install(small, monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(UnsupportedError, match=r"foreglow\[cluster\]"):
        run_campaign(**small, where=Where(cluster="tcp://127.0.0.1:1"))


@pytest.mark.slow
def test_processes_give_the_same_to_the_bit(small):
    assert same(run_campaign(**small), run_campaign(**small, where=Where(workers=2)))


@pytest.mark.slow
def test_a_dask_cluster_gives_the_same_to_the_bit(small, monkeypatch):
    distributed = pytest.importorskip("distributed")
    one = run_campaign(**small)
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, dashboard_address=None, host="127.0.0.1"
    ) as cluster:
        other = run_campaign(**small, where=Where(cluster=cluster.scheduler_address))
    assert same(one, other)
    assert other.took.workers == 2
    monkeypatch.setattr(running, "_WAIT_S", 0.5)
    with pytest.raises(ForeglowError, match="no Dask scheduler answers"):
        run_campaign(**small, where=Where(cluster=cluster.scheduler_address))


@pytest.mark.slow
def test_it_goes_on_after_a_kill(tmp_path):
    (tmp_path / "wall.toml").write_text(TOML)
    command = [sys.executable, "-m", "foreglow", "campaign", "wall.toml", "--json",
               "--plot", "chart.png", "--pairs", "20", "--pattern", "rows",
               "--pattern", "channels"]  # fmt: skip
    environ = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    whole = subprocess.run(command, cwd=tmp_path, env=environ, capture_output=True)
    first = subprocess.Popen(command, cwd=tmp_path, env=environ, stdout=subprocess.DEVNULL)
    parts = Path(tmp_path, "foreglow-out")
    while not [*parts.rglob("part-*.npz")]:
        assert first.poll() is None
        time.sleep(0.01)
    first.send_signal(signal.SIGKILL)
    first.wait()
    kept = len([*parts.rglob("part-*.npz")])
    again = subprocess.run(command, cwd=tmp_path, env=environ, capture_output=True)
    assert whole.returncode == again.returncode == 1  # these two patterns miss some faults
    assert json.loads(again.stdout) == json.loads(whole.stdout)
    assert kept
    assert not [*parts.rglob("part-*.npz")]
