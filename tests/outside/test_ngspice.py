"""The rail network against ngspice (Debian package ngspice), an independent circuit simulator.

The netlists hold both conductors, every LED as a current source with the same law in ngspice's
own words, and each supply as an ideal source; ngspice knows nothing of our pairs and links.
"""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest

from emulator import parse_display
from emulator.description.faults.built import as_built
from emulator.description.faults.reading import with_faults
from emulator.power.joints import with_joints
from emulator.power.network import Network, build_network
from emulator.power.solve import solve_rails

pytestmark = pytest.mark.skipif(
    shutil.which("ngspice") is None,
    reason="ngspice is not installed (Debian: apt-get install ngspice); .ci/run installs it",
)

TENTH_MV = 1e-4


def netlist(
    network: Network, chip, drives, linear_s: np.ndarray | None = None, supply_volts=None
) -> str:
    """ngspice netlist of one frame (N, C); with `linear_s` (N,) the loads are conductances.

    supply_volts: (S,) of the ideal sources, the supplies' nominal volts by default.
    """
    lines = ["* foreglow rail network"]
    supply_volts = network.supply_volts if supply_volts is None else supply_volts
    first, last = network.leds, network.leds + network.supplies

    def ground(node: int) -> str:
        return "0" if first <= node < last else f"g{node}"

    ground_ohm = network.ohm if network.ground_ohm is None else network.ground_ohm
    each = zip(network.ends, network.ohm, ground_ohm, strict=True)
    for number, ((a, b), plus, minus) in enumerate(each):
        lines.append(f"RP{number} p{a} p{b} {plus:.17g}")
        lines.append(f"RG{number} {ground(a)} {ground(b)} {minus:.17g}")
    for number, volts in enumerate(supply_volts):
        own_ohm = float(network.source_ohm[number])
        inner = f"s{number}" if own_ohm else f"p{first + number}"
        lines.append(f"V{number} {inner} 0 {volts:.17g}")
        if own_ohm:
            lines.append(f"RS{number} {inner} p{first + number} {own_ohm:.17g}")
    for led in range(network.leds):
        if linear_s is not None:
            lines.append(f"RL{led} p{led} g{led} {1 / linear_s[led]:.17g}")
            continue
        v = f"v(p{led},g{led})"
        dark_v = min(chip.forward_v)
        x = f"max(0,min(1,{v}/{dark_v}))"
        terms = [f"{chip.dark_ma / 1000:.17g}*{x}*(2-{x})"]
        for drive, forward_v in zip(drives[led, :3], chip.channel_forward_v, strict=True):
            y = f"max(0,min(1,({v}-{forward_v})/{chip.dropout_v}))"
            terms.append(f"{drive / 255 * chip.channel_ma / 1000:.17g}*{y}*{y}*(3-2*{y})")
        lines.append(f"BL{led} p{led} g{led} I={'+'.join(terms)}")
    lines += [
        ".options reltol=1e-8 vntol=1e-9 abstol=1e-11 itl1=2000",
        ".control", "set filetype=ascii", "op", "write out.raw", ".endc", ".end",
    ]  # fmt: skip
    return "\n".join(lines) + "\n"


def run_ngspice(text: str, folder: Path) -> dict[str, float]:
    """Node voltages and source currents of an operating point, by ngspice's names."""
    (folder / "net.cir").write_text(text)
    done = subprocess.run(
        ["ngspice", "-b", "net.cir"], cwd=folder, capture_output=True, text=True, check=False
    )
    raw = folder / "out.raw"
    assert raw.is_file(), done.stdout + done.stderr
    head, values = raw.read_text().split("Values:\n")
    names = [line.split()[1] for line in head.split("Variables:\n")[1].splitlines()]
    numbers = [float(part) for part in values.split()[1:]]
    return dict(zip(names, numbers, strict=True))


def wall(columns: int, rows: int, power: str, part: str = "WS2812B"):
    text = f"[grid]\ncolumns={columns}\nrows={rows}\n[chip]\npart='{part}'\n[wiring]\n{power}"
    return parse_display(text, Path("wall.toml"))


def spice_led_volts(found: dict[str, float], leds: int) -> np.ndarray:
    return np.array([found[f"v(p{n})"] - found[f"v(g{n})"] for n in range(leds)])


ONE_END = "[power]\nfeed=[{line=0,led=0}]\njumper={awg=18,length_m=0.1}\n"
BUS = "[power]\n"
SEVERAL = """[power]
copper_c = 55
feed = [{line=0,led=0,awg=20}, {line=0,led=31,mm2=0.75,length_m=1.2}, {line=0,led=63},
        {line=0,led=31,awg=22,length_m=0.7}]
jumper = {awg=20, length_m=0.08, connector_mohm=3}
[[power.bus]]
mm2 = 1.5
between_m = 0.4
"""
TWO_SUPPLIES = """[power]
feed = [{line=0,led=3}, {line=0,led=40,supply=1,length_m=0.6}, {line=0,led=60}]
jumper = {awg=22}
[[power.supply]]
volts = 5.0
[[power.supply]]
volts = 5.08
[[power.bus]]
between_m = 0.5
"""


@pytest.mark.parametrize("power", [ONE_END, BUS, SEVERAL, TWO_SUPPLIES])
@pytest.mark.parametrize("load", ["uniform", "random"])
def test_every_led_agrees_with_ngspice_to_a_tenth_of_a_millivolt(power, load, tmp_path):
    display = wall(8, 8, power)
    network = build_network(display)
    drives = np.full((1, 64, 3), 255, np.uint8)
    if load == "random":
        drives = np.random.default_rng(7).integers(0, 256, (1, 64, 3), np.uint8)
    rails = solve_rails(network, drives, display.chip, np.inf)
    assert rails.converged.all()
    found = run_ngspice(netlist(network, display.chip, drives[0]), tmp_path)
    difference = np.abs(rails.led_volts[0] - spice_led_volts(found, 64))
    assert difference.max() < TENTH_MV
    for number in range(network.supplies):
        assert rails.supply_current_a[0, number] == pytest.approx(-found[f"i(v{number})"], abs=1e-4)


@pytest.mark.parametrize("power", [ONE_END, BUS, TWO_SUPPLIES])
@pytest.mark.parametrize(("drive", "most_a"), [(0, 9.0), (120, 9.0), (255, 1.2), (255, 0.05)])
def test_overloaded_and_idle_supplies_draw_what_their_law_says_by_ngspice(
    power, drive, most_a, tmp_path
):
    """ngspice does not converge on the law itself, so it gets each supply as an ideal source at
    the voltage we found; the current it then draws must be the one the law gives there."""
    display = wall(8, 8, power)
    network = build_network(display)
    drives = np.full((1, 64, 3), drive, np.uint8)
    rails = solve_rails(network, drives, display.chip, most_a)
    assert rails.converged.all()
    volts = rails.supply_volts[0]
    found = run_ngspice(netlist(network, display.chip, drives[0], supply_volts=volts), tmp_path)
    assert np.abs(rails.led_volts[0] - spice_led_volts(found, 64)).max() < TENTH_MV
    for number, nominal in enumerate(network.supply_volts):
        drawn_a = -found[f"i(v{number})"]
        if volts[number] < nominal - 1e-3:
            assert drawn_a == pytest.approx(most_a, abs=1e-4)
        elif volts[number] > nominal + 1e-6:
            assert drawn_a == pytest.approx(0, abs=1e-4)
        else:
            assert -1e-4 <= drawn_a <= most_a + 1e-4


@pytest.mark.slow
def test_a_wall_of_576_leds_in_series_collapses_as_ngspice_says(tmp_path):
    display = wall(24, 24, ONE_END)
    network = build_network(display)
    drives = np.full((1, 576, 3), 255, np.uint8)
    rails = solve_rails(network, drives, display.chip, np.inf)
    found = run_ngspice(netlist(network, display.chip, drives[0]), tmp_path)
    assert rails.led_volts.min() < 2.1  # every channel of the far end is out
    assert np.abs(rails.led_volts[0] - spice_led_volts(found, 576)).max() < TENTH_MV


@pytest.mark.parametrize("power", [ONE_END, SEVERAL, TWO_SUPPLIES])
def test_a_linear_network_agrees_with_ngspice(power, tmp_path):
    """Loads of conductance g take g V: the elimination alone, without Newton."""
    display = wall(8, 8, power)
    network = build_network(display)
    linear_s = np.random.default_rng(3).uniform(1e-4, 2e-2, 64)
    shunt = np.zeros((network.nodes, 1))
    shunt[:64, 0] = linear_s
    shunt[network.terminals] = 1e7
    inject = np.zeros_like(shunt)
    inject[network.terminals, 0] = 1e7 * network.supply_volts
    volts = network.elimination.factors(network.pair_s, shunt).solve(inject)[:64, 0]
    found = run_ngspice(netlist(network, display.chip, None, linear_s), tmp_path)
    assert np.abs(volts - spice_led_volts(found, 64)).max() < TENTH_MV


SOURCES = TWO_SUPPLIES.replace("volts = 5.0\n", "volts = 5.0\nsource_ohm = 0.02\n").replace(
    "volts = 5.08\n", "volts = 5.08\nsource_ohm = 0.05\n"
)
JOINTS = """[power]
jumper = {mm2=120, length_m=1e-5}
feed = [{led=0, mm2=120, length_m=1e-6, connector_mohm=0}, {led=40, awg=20}]
bus = [{mm2=120, to_first_m=1e-6, between_m=1e-4}]
"""


@pytest.mark.parametrize("power", [SOURCES, SOURCES.replace("jumper", "bus=[{}]\njumper"), JOINTS])
@pytest.mark.parametrize("load", ["uniform", "random"])
def test_sources_with_resistance_and_joints_agree_with_ngspice(power, load, tmp_path):
    """A supply's own resistance is a resistor behind an ideal source; a joint is one of
    micro- to nanoohms, which ngspice holds as it is."""
    power = power.replace("bus=[{}]\n", "")
    display = wall(8, 8, power)
    network = build_network(display)
    drives = np.full((1, 64, 3), 255, np.uint8)
    if load == "random":
        drives = np.random.default_rng(7).integers(0, 256, (1, 64, 3), np.uint8)
    rails = solve_rails(network, drives, display.chip, np.inf)
    assert rails.converged.all()
    found = run_ngspice(netlist(network, display.chip, drives[0]), tmp_path)
    assert np.abs(rails.led_volts[0] - spice_led_volts(found, 64)).max() < TENTH_MV
    for number in range(network.supplies):
        assert rails.supply_current_a[0, number] == pytest.approx(-found[f"i(v{number})"], abs=1e-3)


@pytest.mark.slow
@pytest.mark.parametrize("power", [ONE_END, BUS, SEVERAL, TWO_SUPPLIES])
@pytest.mark.parametrize(
    "sentences",
    [
        ["power-joint after=2 conductor=plus"],
        ["power-joint after=5 conductor=ground"],
        ["power-joint after=0 conductor=plus ohm=0.3", "power-joint after=20 conductor=ground"],
        ["feed-joint feed=0 conductor=ground"],
        ["feed-joint feed=0 conductor=plus ohm=0.15"],
        ["feed-missing feed=0", "power-joint after=60 conductor=plus ohm=2"],
        ["bus-joint feed=2 conductor=ground ohm=0.2"],
        ["bus-joint feed=2 conductor=plus"],
    ],
)
def test_joints_of_one_conductor_agree_with_ngspice(power, sentences, tmp_path):
    """Volts at every LED, and of its ground above the supplies', to a tenth of a millivolt."""
    if "bus" in sentences[0] and "bus" not in power and power != BUS:
        sentences = [sentences[0].replace("bus-joint feed=2", "feed-joint feed=0")]
    display = with_faults(wall(8, 8, power), sentences)
    built = as_built(display, display.faults)
    network = with_joints(build_network(display, built.power), built.joints)
    assert network.ground_ohm is not None
    drives = np.random.default_rng(1).integers(0, 120, (1, 64, 3), dtype=np.uint8)
    rails = solve_rails(network, drives, display.chip, np.inf)
    assert rails.converged.all()
    # A supply that another one pulls up gives nothing; its ideal source is one of those volts.
    text = netlist(network, display.chip, drives[0], supply_volts=rails.supply_volts[0])
    found = run_ngspice(text, tmp_path)
    assert np.abs(rails.led_volts[0] - spice_led_volts(found, 64)).max() < TENTH_MV
    for number, amps in enumerate(rails.supply_current_a[0]):
        assert -found[f"i(v{number})"] == pytest.approx(amps, abs=2e-3)
    fed = rails.led_volts[0] > 0.01  # a part that is cut off has no potential of its own
    ground_v = np.array([found[f"v(g{n})"] for n in range(64)])
    assert np.abs(rails.ground_volts[0, :64] - ground_v)[fed].max(initial=0) < TENTH_MV
    assert np.isfinite(rails.led_volts).all()
