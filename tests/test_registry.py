"""Chips, patterns, checks, sources and outputs of a small package installed beside foreglow."""

from __future__ import annotations

import importlib
import json
import logging
import sys

import numpy as np
import pytest

from emulator import ForeglowError, UnknownNameError, chip, load_display, open_output
from emulator import registry as registry_module
from emulator.description.chips import all_chips
from harness import check
from harness.checks.check import CHECKS
from harness.patterns.pattern import pattern
from harness.patterns.sources import all_sources, named_source

CODE = """
import dataclasses

import numpy as np

from emulator import CHIPS
from emulator.ports.memory import MemoryOutput
from harness.result.result import Result
from harness.result.finding import Finding
from harness.patterns.pattern import Pattern

GLIM = dataclasses.replace(CHIPS["WS2812B"], part="GLIM-1", channel_ma=7.5)
NOT_A_CHIP = 3


def stripe(display, step):
    picture = np.zeros(display.picture_shape, np.uint8)
    picture[:, step] = 255
    return picture


STRIPE = Pattern("stripe", "one column", 500, lambda display: display.grid.columns, stripe)


def warm(trial, earlier):
    assert earlier, "ours come first"
    where, evidence, fix = "at 30 m", "a guess", "wait"
    return Result("?", "warm", (Finding("warm", "warm", where, evidence, fix, "note"),), {"k": 1})


def raising(trial, earlier):
    raise ValueError("no")


def glow(time_s, display):
    return np.full(display.picture_shape, 0.5)


class Lantern(MemoryOutput):
    pass
"""
POINTS = {
    "chips": "GLIM-1 = glimmer:GLIM",
    "patterns": "stripe = glimmer:STRIPE",
    "checks": "warm = glimmer:warm",
    "sources": "glow = glimmer:glow",
    "outputs": "lantern = glimmer:Lantern",
}


@pytest.fixture
def install(tmp_path, monkeypatch):
    """Installs a package as an installer leaves it: its module, and a dist-info beside it."""

    def install(code: str = CODE, name: str = "glimmer", **points: str) -> None:
        folder = tmp_path / f"in-{name}"
        about = folder / f"{name}-1.2.dist-info"
        about.mkdir(parents=True)
        (folder / f"{name}.py").write_text(code)
        (about / "METADATA").write_text(f"Metadata-Version: 2.1\nName: {name}\nVersion: 1.2\n")
        groups = [f"[foreglow.{group}]\n{lines}\n" for group, lines in points.items()]
        (about / "entry_points.txt").write_text("\n".join(groups))
        monkeypatch.syspath_prepend(folder)
        importlib.invalidate_caches()

    yield install
    sys.modules.pop("glimmer", None)
    registry_module._told.clear()


@pytest.fixture
def glimmer(install):
    install(**POINTS)


def test_nothing_is_loaded_before_it_is_asked_for(glimmer):
    display = load_display("sign")
    chip("ws2812b")
    named_source("aurora", display)(0)
    named_source("chase", display)(0)
    open_output("memory:", display).close()
    assert "glimmer" not in sys.modules
    assert pattern("stripe").name == "stripe"
    assert "glimmer" in sys.modules


def test_a_chip_is_in_catalogue_and_display_files(glimmer, foreglow, tmp_path):
    assert chip("glim-1").channel_ma == 7.5
    assert all_chips()[-1].part == "GLIM-1"
    assert foreglow("new", "wall.toml", "--columns", 4, "--rows", 3, "--chip", "GLIM-1")[0] == 0
    assert load_display(tmp_path / "wall.toml").chip.part == "GLIM-1"
    assert "GLIM-1" in foreglow("chips")[1]


def test_a_pattern_and_a_source_play_by_name(glimmer, foreglow):
    display = load_display("sign")
    assert pattern("stripe").steps(display) == display.grid.columns
    assert named_source("stripe", display)(0.5)[:, 1].all()
    assert (named_source("glow", display)(0) == 0.5).all()
    assert {"pattern stripe", "scene glow"} < set(all_sources(display))
    assert foreglow("render", "sign", "glow", "-o", "glow.png", "--width", 64)[0] == 0
    with pytest.raises(UnknownNameError) as caught:
        named_source("glov", display)
    assert {"glow", "stripe", "aurora", "chase"} < set(caught.value.known)


def test_a_check_runs_after_ours_and_is_reported(glimmer, foreglow):
    report = check(load_display("sign"))
    assert [result.check for result in report.results] == [*CHECKS, "warm"]
    assert report.figures["warm"]["k"] == 1
    _, out, _ = foreglow("check", "sign", "--only", "map,warm", "--json")
    assert list(json.loads(out)["figures"]) == ["map", "warm"]


def test_an_output_opens_by_its_address(glimmer):
    display = load_display("sign")
    with open_output("Lantern:", display) as output:
        output.send(np.full(display.picture_shape, 9, np.uint8))
        assert type(output).__name__ == "Lantern"


def test_a_name_of_ours_cannot_be_taken(install, caplog):
    install(
        chips="WS2812B = glimmer:GLIM",
        sources="aurora = glimmer:glow\nchase = glimmer:glow",
        checks="map = glimmer:raising",
    )
    with caplog.at_level(logging.WARNING):
        assert [one.channel_ma for one in all_chips() if one.part == "WS2812B"] != [7.5]
        assert "glimmer" not in str(named_source("aurora", load_display("sign")).source)
        check(load_display("sign"))
        with pytest.raises(UnknownNameError):
            named_source("nothing", load_display("sign"))
    told = [f"'{name}' of the package glimmer 1.2 is left out" for name in ("WS2812B", "map")]
    assert all(any(line in record.message for record in caplog.records) for line in told)
    assert "glimmer" not in sys.modules


@pytest.mark.slow
@pytest.mark.parametrize(
    ("group", "line", "ask", "said"),
    [
        ("chips", "X = glimmer:NOT_A_CHIP", lambda d: chip("x"), "is not an emulator.Chip"),
        ("chips", "X = nothing:A", lambda d: chip("x"), "cannot be loaded: nothing:A"),
        ("patterns", "x = glimmer:glow", lambda d: pattern("x"), "is not a harness.Pattern"),
        ("sources", "x = glimmer:none", lambda d: named_source("x", d), "cannot be loaded"),
        ("outputs", "x = glimmer:glow", lambda d: open_output("x:", d), "is not a subclass"),
        ("checks", "x = glimmer:raising", check, "raised ValueError: no"),
        ("checks", "x = glimmer:stripe", check, "raised"),
        ("checks", "x = glimmer:Lantern", check, "raised"),
        ("checks", "x = builtins:max", check, "returned|raised"),
    ],
)
def test_what_is_wrong_with_a_package_is_told_with_its_name(install, group, line, ask, said):
    install(**{group: line})
    with pytest.raises(ForeglowError, match=said) as caught:
        ask(load_display("sign"))
    assert "of the package glimmer 1.2" in str(caught.value)
    assert "\n  Fix: " in str(caught.value)


def test_two_packages_with_one_name_are_both_told(install):
    install(sources="glow = glimmer:glow")
    install("def glow(time_s, display): return 0\n", "shimmer", sources="glow = shimmer:glow")
    with pytest.raises(ForeglowError, match="exists twice") as caught:
        named_source("glow", load_display("sign"))
    assert "glimmer 1.2" in str(caught.value)
    assert "shimmer 1.2" in str(caught.value)
