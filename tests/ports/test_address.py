"""Addresses of outputs, taken apart."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator.ports.address import Address, AddressError


@pytest.mark.parametrize(
    ("text", "kind", "place", "options"),
    [
        ("memory:", "memory", "", {}),
        ("serial:///dev/ttyACM0?baud=9600", "serial", "/dev/ttyACM0", {"baud": "9600"}),
        ("serial:COM3", "serial", "COM3", {}),
        ("vcd:some where/trace.vcd", "vcd", "some where/trace.vcd", {}),
        ("vcd:/tmp/trace.vcd", "vcd", "/tmp/trace.vcd", {}),
        ("E131://239.255.0.1?universe=1&packing=whole", "e131", "239.255.0.1",
         {"universe": "1", "packing": "whole"}),
        ("socket://host:5000", "socket", "host:5000", {}),
        ("e131:?a=b=c", "e131", "", {"a": "b=c"}),
    ],
)  # fmt: skip
def test_kind_place_and_options(text, kind, place, options):
    address = Address.parse(text)
    assert (address.kind, address.place, address.options) == (kind, place, options)


@pytest.mark.parametrize("text", ["a:?", "a:?b", "a:?=1", "a:?b=1&b=2", "a:?b=1&"])
def test_broken_options(text):
    with pytest.raises(AddressError, match="Fix:"):
        Address.parse(text)


@pytest.mark.parametrize("value", ["", "x", "-1", "299", "9" * 30, "1e3", "٣٠٠", "1.5"])
def test_numbers_out_of_limits(value):
    address = Address.parse(f"serial:x?baud={value}")
    with pytest.raises(AddressError, match="300 to 4000"):
        address.number("baud", 1000, 300, 4000)


def test_numbers_and_words():
    address = Address.parse("serial:x?baud=300&answers=no")
    assert address.number("baud", 1000, 300, 4000) == 300
    assert address.number("other", 1000, 300, 4000) == 1000
    assert address.choice("answers", ("yes", "no")) == "no"
    assert address.choice("other", ("yes", "no")) == "yes"
    with pytest.raises(AddressError, match="one of on, off"):
        address.choice("answers", ("on", "off"))


def test_what_is_not_wanted_is_refused_with_the_near_miss():
    with pytest.raises(AddressError, match="did you mean 'baud'") as raised:
        Address.parse("serial:x?buad=300").only("baud", "answers", place=True)
    assert "baud, answers" in str(raised.value)
    with pytest.raises(AddressError):
        Address.parse("memory:x").only(place=False)
    with pytest.raises(AddressError):
        Address.parse("vcd:").only(place=True)


@given(st.text(max_size=60))
def test_any_text_is_an_address_or_an_error(text):
    try:
        address = Address.parse(text)
    except AddressError as error:
        assert "Fix:" in str(error)
    else:
        assert address.text == text
