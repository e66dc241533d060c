"""The real speed of a divider."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator.ports.spi.controller import CONTROLLERS

PI = CONTROLLERS["bcm2835"]


# Broadcom BCM2835 ARM Peripherals, SPI register CLK: SCLK = core clock / CDIV; 250 MHz. The
# kernel's driver rounds the divisor up to an even one (from memory).
@pytest.mark.parametrize(
    ("asked", "divisor"),
    [(2_400_000, 106), (2_500_000, 100), (3_200_000, 80), (6_400_000, 40), (6_666_666, 38),
     (125_000_000, 2), (400_000_000, 2), (1_000, 65_536), (8_000_000, 32)],
)  # fmt: skip
def test_the_pi_divides_by_even_numbers(asked, divisor):
    assert PI.divisor(asked) == divisor
    assert PI.real_hz(asked) == 250e6 / divisor


def test_2_4_mhz_becomes_2_358_mhz():
    assert round(PI.real_hz(2_400_000)) == 2_358_491
    assert 1e9 / PI.real_hz(2_400_000) == pytest.approx(424)


@given(st.sampled_from(sorted(CONTROLLERS)), st.integers(1, 500_000_000))
def test_never_faster_than_asked_and_the_fastest_of_those(name, asked):
    """Where the divider reaches: the next smaller divisor would be faster than asked."""
    controller = CONTROLLERS[name]
    real = controller.real_hz(asked)
    if controller.divider == "none":
        assert real == asked
        return
    slowest = controller.clock_hz / controller.most_divider
    fastest = controller.clock_hz / controller.least_divider
    assert real <= max(asked, slowest)
    step = {"even": 2, "whole": 1}[controller.divider]
    divisor = controller.divisor(asked)
    if divisor > controller.least_divider and slowest < asked:
        assert controller.clock_hz / (divisor - step) > asked
    assert slowest <= real <= fastest


def test_every_controller_says_where_its_facts_are_from():
    for controller in CONTROLLERS.values():
        assert controller.source
