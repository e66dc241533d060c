"""The picture as matrix products: their parts against what they represent."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator import parse_display
from emulator.light.cover import Axis, Spot, axes
from emulator.light.far import MARGIN, joining, samples, split
from emulator.light.operator import Operator, separate
from emulator.light.product import product
from tests.light.whole import whole


def display(cover: str, columns: int = 12, rows: int = 9):
    return parse_display(
        f"[grid]\ncolumns={columns}\nrows={rows}\npitch_mm=20\nrow_pitch_mm=23\n"
        f"[chip]\npart='WS2812B'\n[wiring]\n[cover]\n{cover}\n",
        Path("wall.toml"),
    )


@pytest.mark.parametrize("alone", [True, False])
def test_a_product_in_pieces_is_the_product(monkeypatch, alone):
    monkeypatch.setattr("emulator.light.product._ALONE", alone)
    rng = np.random.default_rng(1)
    left = rng.random((3, 500, 200)).astype(np.float32)
    right = rng.random((3, 200, 90)).astype(np.float32)
    out = np.empty((3, 500, 90), np.float32)
    product(left, right, out)
    np.testing.assert_allclose(out, np.einsum("cij,cjk->cik", left, right), rtol=1e-4)


@pytest.mark.parametrize("walls", ["none", "black", "white"])
def test_a_few_terms_carry_the_whole_spot(walls):
    made = display(f"depth_mm = 14\nwalls = '{walls}'")
    spot, (across, down) = Spot.before(made), axes(made)
    terms = separate(spot, across, down)
    assert terms.across.shape == terms.down.shape
    assert terms.across.shape[1] <= 9
    x, y = np.linspace(-60, 60, 121), np.linspace(-50, 50, 101)
    fx, fy = spot.profiles(x, across), spot.profiles(y, down)
    whole = (fy * spot.weight) @ fx.T
    few = (fy @ terms.down) @ (fx @ terms.across).T
    assert np.abs(few - whole).max() < 2e-4 * whole.max()


def test_joined_samples_are_the_wide_gaussians_between_the_cells():
    made = display("depth_mm = 14\nwalls = 'none'")
    across, down = axes(made)
    near, far = split(Spot.before(made, 2.0), across, down)
    assert far is not None
    assert len(near.weight) + len(far.weight) == len(Spot.before(made).weight)
    # A line of 12 cells, all but two lit by chance; light at 300 places along it.
    lit = np.random.default_rng(3).random(12)
    at = np.linspace(0, 240, 300)
    wanted = np.einsum(
        "xck,c->xk", far.profiles(at[:, None] - (np.arange(12) + 0.5) * 20, across), lit
    )
    grid = (np.arange(-MARGIN, 12 + MARGIN) + 0.5) * 20
    given_samples = np.einsum("sck,c->sk", samples(far, across, 12), lit)
    joined = joining(at[:, None] - grid, across) @ given_samples
    assert joined == pytest.approx(wanted, rel=2e-4, abs=1e-5 * float(wanted.max()))


def test_walls_leave_no_far_light():
    made = display("depth_mm = 14\nwalls = 'white'")
    spot = Spot.before(made)
    assert split(spot, *axes(made)) == (spot, None)


@given(st.sampled_from(["none", "black", "white"]), st.integers(1, 9), st.integers(1, 9), st.data())
def test_light_adds_up_whatever_the_size(walls, columns, rows, data):
    made = display(f"depth_mm = 9\nwalls = '{walls}'", columns, rows)
    pixels = data.draw(st.integers(columns, 90)), data.draw(st.integers(rows, 150))
    operator = Operator(Spot.before(made, 1.0), axes(made), (columns, rows), pixels)
    rng = np.random.default_rng(columns)

    def drawn(cells: np.ndarray) -> np.ndarray:
        return whole(operator, cells)

    one, other = rng.random((2, rows, columns, 3))
    most = operator.brightest()
    off = np.abs(drawn(one + 2 * other) - (drawn(one) + 2 * drawn(other)))
    assert off.max() <= 1e-5 * most
    assert drawn(np.ones((rows, columns, 3))).max() == pytest.approx(most)
    operator.expose(3.0, 0.25)
    np.testing.assert_allclose(drawn(np.zeros((rows, columns, 3))), 0.25, rtol=1e-6)


def test_a_gaussian_on_one_axis_alone_is_left_as_it_is():
    # One narrow Gaussian: nothing is wide, so nothing is sampled.
    spot = Spot(np.array([5.0]), np.array([2.0]), 0.0, 10.0, 1.0)
    axis = Axis(20.0, None)
    assert split(spot, axis, axis) == (spot, None)
    operator = Operator(spot, (axis, axis), (1, 1), (41, 41))
    light = whole(operator, np.ones((1, 1, 3)))
    x = (np.arange(41) + 0.5) / 41 * 20 - 10
    wanted = 2 * np.exp(-(x[:, None] ** 2 + x**2) / 50)
    assert light[..., 0] == pytest.approx(wanted, abs=1e-4)
