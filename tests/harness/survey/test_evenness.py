"""The smooth surface through a wall, and what stands out from it."""

from __future__ import annotations

import numpy as np

from harness.survey.evenness import beside_smooth

THERE = np.ones((12, 20), dtype=bool)


def corners(strength=0.5):
    """(12, 20, 1) light behind a lens: cos⁴ of the angle to its axis (photometry)."""
    y, x = np.meshgrid(np.linspace(-1, 1, 12), np.linspace(-1, 1, 20), indexing="ij")
    return (1 / (1 + strength * (x**2 + y**2)) ** 2)[..., None]


def test_the_corners_of_a_lens_are_smooth():
    light = corners()
    assert light.min() < 0.3
    share = beside_smooth(light, THERE, THERE)
    np.testing.assert_allclose(share, 1, atol=0.03)


def test_a_weak_cell_and_a_dark_row_stand_out_alone():
    light = corners()
    light[3, 4] *= 0.5
    light[7] = 0
    share = beside_smooth(light, THERE, light[..., 0] > 0)[..., 0]
    assert abs(share[3, 4] - 0.5) < 0.02
    assert (share[7] == 0).all()
    others = np.delete(share, 7, axis=0)
    others[3, 4] = 1
    np.testing.assert_allclose(others, 1, atol=0.03)


def test_the_light_of_a_wall_that_is_mostly_dark_is_beside_that_of_the_lit_cells():
    light = 100 * corners()
    light[:, 6:] = 1.0  # what the lit cells spill
    share = beside_smooth(light, THERE, light[..., 0] > 1)[..., 0]
    np.testing.assert_allclose(share[:, :6], 1, atol=0.1)
    assert (share[:, 6:] < 0.1).all()


def test_what_is_unknown_stays_unknown():
    light = corners()
    light[0, 0] = np.nan
    there = THERE.copy()
    there[5, 5] = False
    share = beside_smooth(light, there, there)[..., 0]
    assert np.argwhere(np.isnan(share)).tolist() == [[0, 0], [5, 5]]
