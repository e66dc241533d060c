"""Colour against colour-science (CIE tables and formulae, sRGB of IEC 61966-2-1)."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
from scipy import optimize

from emulator import CHIPS
from emulator.light.observer import (
    D65_XY,
    MOST_OFF_LOCUS,
    chromaticity,
    colour_temperature,
    matching_functions,
    narrow_band_xyz,
    planckian_xyz,
    white_xyz,
)
from emulator.light.primaries import chip_primaries
from emulator.light.screen import adaptation, screen_from_xyz
from emulator.picture.srgb import LUMINANCE, linear_to_srgb, srgb_to_linear
from tests.outside import make_cie1931

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # it warns of optional parts that are not installed
    import colour

PRIMARIES = chip_primaries(CHIPS["WS2812B"])
CMFS = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]


def integrated(wavelength_nm: float, width_nm: float) -> np.ndarray:
    """x, y of a Gaussian spectrum, every nanometre, by colour-science's own integration."""
    nm = np.arange(360, 831)
    values = np.exp(-4 * np.log(2) * ((nm - wavelength_nm) / width_nm) ** 2)
    spectrum = colour.SpectralDistribution(values, nm)
    xyz = colour.sd_to_XYZ(spectrum, CMFS, method="Integration")
    return np.asarray(colour.XYZ_to_xy(xyz))


def test_the_table_that_ships_is_the_one_colour_science_gives():
    assert make_cie1931.FILE.read_text(encoding="utf-8") == make_cie1931.text()
    nm, functions = matching_functions()
    assert functions == pytest.approx(np.asarray(CMFS[nm]), abs=1e-6)


@pytest.mark.parametrize("channel", [0, 1, 2])
def test_the_primaries_lie_where_colour_science_puts_them(channel):
    chip = CHIPS["WS2812B"]
    wanted = integrated(chip.wavelength_nm[channel], chip.width_nm[channel])
    assert PRIMARIES.chromaticities[channel] == pytest.approx(wanted, abs=5e-4)


def test_the_white_of_the_datasheet_is_blue_beyond_any_colour_temperature():
    # The mix, computed here from colour-science's x, y and the datasheet's millicandela.
    chip = CHIPS["WS2812B"]
    xyz = np.zeros(3)
    for nm, width, mcd in zip(chip.wavelength_nm, chip.width_nm, chip.intensity_mcd, strict=True):
        x, y = integrated(nm, width)
        xyz += mcd / 1000 * np.array([x / y, 1, (1 - x - y) / y])
    assert PRIMARIES.white == pytest.approx(xyz, rel=2e-3)
    xy = colour.XYZ_to_xy(xyz)
    assert chromaticity(PRIMARIES.white) == pytest.approx(xy, abs=5e-4)
    found = PRIMARIES.white_temperature
    assert (found.kelvin, found.why) == (None, "bluer than 100,000 K")
    # colour-science's two methods find it past 100,000 K, where tables of the locus end.
    uv = colour.UCS_to_uv(colour.XYZ_to_UCS(xyz / xyz[1]))
    for method in ("Robertson 1968", "Ohno 2013"):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            kelvin, _ = colour.temperature.uv_to_CCT(uv, method=method)
        assert kelvin >= 100_000 * (1 - 1e-9)


def off_the_locus(kelvin: float, away: float) -> np.ndarray:
    """u, v a distance from colour-science's black body, square to the locus; above it is > 0."""
    nearby = colour.temperature.CCT_to_uv_Planck1900(np.array([0.9999, 1.0, 1.0001]) * kelvin)
    along = nearby[2] - nearby[0]
    return np.asarray(nearby[1] + away * np.array([along[1], -along[0]]) / np.linalg.norm(along))


def xyz_of(uv: np.ndarray) -> np.ndarray:
    """XYZ, Y = 1, of CIE 1960 u, v, by colour-science."""
    x, y = colour.UCS_uv_to_xy(uv)
    return np.array([x / y, 1.0, (1 - x - y) / y])


@pytest.mark.slow
@pytest.mark.parametrize("away", [0.0, 0.02, -0.02, 0.045])
def test_the_correlated_temperature_is_within_1_k_of_the_nearest_black_body(away):
    # CIE 15: the nearest point in CIE 1960 uv, here from colour-science's locus (Planck 1900, its
    # observer at 1 nm). A point square to the locus has its foot as the nearest, to all digits;
    # where the locus bends more sharply than that, another would be nearer: scipy looks.
    for kelvin in np.geomspace(2000, 20_000, 60):
        uv = off_the_locus(float(kelvin), away)
        nearest = optimize.minimize_scalar(
            lambda k, uv=uv: float(
                1e9 * ((colour.temperature.CCT_to_uv_Planck1900(k) - uv) ** 2).sum()
            ),
            bounds=(0.9 * kelvin, 1.1 * kelvin),
            method="bounded",
            options={"xatol": 1e-3},
        ).x
        found = colour_temperature(xyz_of(uv))
        assert found.kelvin == pytest.approx(nearest, abs=1)
        assert found.kelvin == pytest.approx(kelvin, abs=1)
        assert found.off_locus == pytest.approx(away, abs=2e-6)


def test_lights_too_far_from_any_black_body_have_no_colour_temperature():
    # CIE 15: not beyond 0.05 in uv.
    for away, there in ((0.049, True), (0.051, False), (-0.049, True), (-0.051, False)):
        found = colour_temperature(xyz_of(off_the_locus(5000.0, away)))
        assert (found.kelvin is not None) == there
        assert there or "0.051 from any black body" in found.why
    assert MOST_OFF_LOCUS == 0.05
    for kelvin, why in ((800.0, "redder than 1,000 K"), (300_000.0, "bluer than 100,000 K")):
        found = colour_temperature(xyz_of(off_the_locus(kelvin, 0.0)))
        assert (found.kelvin, found.why) == (None, why)


@pytest.mark.parametrize("kelvin", [2000, 2856, 4000, 6504, 10_000, 20_000])
def test_colour_temperature_of_planckian_light_is_its_own(kelvin):
    spectrum = colour.sd_blackbody(kelvin, colour.SpectralShape(360, 830, 1))
    xyz = colour.sd_to_XYZ(spectrum, CMFS, method="Integration")
    assert colour_temperature(xyz).kelvin == pytest.approx(kelvin, abs=1)


@pytest.mark.parametrize("kelvin", [2700, 4250, 6500])
def test_a_black_body_has_the_colour_that_colour_science_gives_it(kelvin):
    spectrum = colour.sd_blackbody(kelvin, colour.SpectralShape(360, 830, 1))
    xyz = colour.sd_to_XYZ(spectrum, CMFS, method="Integration")
    assert planckian_xyz(kelvin) == pytest.approx(xyz / xyz[1], abs=1e-6)
    uv = colour.UCS_to_uv(colour.XYZ_to_UCS(planckian_xyz(kelvin)))
    found, off_locus = colour.temperature.uv_to_CCT(uv, method="Ohno 2013")
    assert found == pytest.approx(kelvin, rel=2e-3)
    assert abs(off_locus) < 1e-3


def test_red_green_blue_and_white_mix_as_their_spectra_do():
    # One spectrum of all four: Gaussians and a black body, each as bright as the catalogue says;
    # colour-science integrates the sum.
    chip = CHIPS["SK6812-RGBW"]
    nm = np.arange(360, 831)
    shapes = [
        np.exp(-4 * np.log(2) * ((nm - peak) / width) ** 2)
        for peak, width in zip(chip.wavelength_nm, chip.width_nm, strict=True)
    ]
    shapes.append(colour.sd_blackbody(chip.white_k, colour.SpectralShape(360, 830, 1)).values)
    lumens = [
        colour.sd_to_XYZ(colour.SpectralDistribution(s, nm), CMFS, method="Integration")[1]
        for s in shapes
    ]
    candela = np.array([*chip.intensity_mcd, chip.white_mcd]) / 1000
    primaries = chip_primaries(chip)
    for drive in np.random.default_rng(6).random((6, 4)):
        mixed = sum(
            d * cd / lm * s for d, cd, lm, s in zip(drive, candela, lumens, shapes, strict=True)
        )
        wanted = colour.sd_to_XYZ(
            colour.SpectralDistribution(mixed, nm), CMFS, method="Integration"
        )
        assert primaries.mix(drive) == pytest.approx(wanted, rel=3e-3)
        assert primaries.mix(drive)[1] == pytest.approx(drive @ candela)


def test_colour_temperature_of_daylight():
    # CIE 15: D65 has a correlated colour temperature of about 6504 K.
    assert colour_temperature(white_xyz(D65_XY)).kelvin == pytest.approx(6504, abs=2)


def test_the_gains_make_d65():
    gains = PRIMARIES.gains_for()
    assert gains.max() == 1
    assert gains.min() > 0
    assert chromaticity(PRIMARIES.mix(gains)) == pytest.approx(D65_XY, abs=1e-9)
    # As colour-science mixes them.
    assert colour.XYZ_to_xy(gains @ PRIMARIES.xyz) == pytest.approx(D65_XY, abs=1e-6)


def test_the_screen_s_matrix_is_that_of_srgb():
    srgb = colour.RGB_COLOURSPACES["sRGB"]
    # colour-science keeps the standard's four printed decimals.
    assert screen_from_xyz() == pytest.approx(np.asarray(srgb.matrix_XYZ_to_RGB), abs=1.5e-3)
    xyz = np.random.default_rng(5).random((50, 3))
    linear = colour.XYZ_to_sRGB(xyz, apply_cctf_encoding=False)
    assert xyz @ screen_from_xyz().T == pytest.approx(linear, abs=3e-3)
    assert np.linalg.inv(screen_from_xyz())[1] == pytest.approx(LUMINANCE, abs=2e-4)


def test_adaptation_is_bradford_s():
    white = PRIMARIES.white / PRIMARIES.white[1]
    wanted = colour.adaptation.matrix_chromatic_adaptation_VonKries(
        white, white_xyz(D65_XY), transform="Bradford"
    )
    assert adaptation(PRIMARIES.white) * PRIMARIES.white[1] == pytest.approx(wanted, abs=1e-6)


def test_srgb_is_encoded_and_decoded_as_colour_science_does():
    values = np.linspace(0, 1, 1001)
    # The two pieces of the standard's curve do not quite meet: 1e-5.
    assert srgb_to_linear(values) == pytest.approx(colour.models.eotf_sRGB(values), abs=1e-5)
    assert linear_to_srgb(values) == pytest.approx(
        colour.models.eotf_inverse_sRGB(values), abs=1e-5
    )


def test_the_table_is_fine_enough_for_narrow_leds():
    for width_nm in (15, 20, 35):
        for nm in np.arange(440, 660, 7.3):
            found = chromaticity(narrow_band_xyz(nm, width_nm, 1.0))
            assert found == pytest.approx(integrated(float(nm), width_nm), abs=1e-6)
