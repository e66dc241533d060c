"""Who may look. DNS rebinding and foreign pages: RFC 6454 (Origin), RFC 9110 § 7.2 (Host)."""

from __future__ import annotations

import socket

import pytest

from emulator.browser.guard import Guard

TOKEN = "0123456789abcdefgh"


@pytest.mark.parametrize(
    "host",
    ["localhost", "localhost:9000", "127.0.0.1:8080", "[::1]:8080", "LOCALHOST:1", "127.9.9.9"],
)
def test_loopback_by_any_port_may_look_as_through_a_tunnel(host):
    assert not Guard.of("", "").refuses(host, None, "")
    assert not Guard.of("", "").refuses(host, f"http://{host}", "")


@pytest.mark.parametrize(
    "host",
    ["", "evil.example", "localhost.evil.example:8080", "192.168.1.5:8080", "evil.example:8080",
     "[", "[::1", "user@evil.example", "localhost@evil.example", "0.0.0.0:8080"],
)  # fmt: skip
def test_other_names_may_not_look_at_loopback(host):
    assert Guard.of("", "").refuses(host, None, "")


@pytest.mark.parametrize(
    "origin",
    ["http://evil.example", "null", "", "http://localhost:9001", "http://localhost", "file://",
     "http://localhost:9000.evil.example", "http://127.0.0.1:9000", "http://[",
     "chrome-extension://localhost:9000"],
)  # fmt: skip
def test_a_page_of_another_origin_may_not_look(origin):
    assert Guard.of("", "").refuses("localhost:9000", origin, "")


def test_other_interfaces_always_need_a_token_that_nobody_guesses():
    one, other = Guard.of("0.0.0.0", ""), Guard.of("0.0.0.0", "")
    assert len(one.token) >= 22  # 128 bits in base64
    assert one.token != other.token
    assert not one.refuses("192.168.1.5:8080", None, one.token)
    for token in ("", one.token[:-1], one.token + "x", other.token, "ü"):
        assert one.refuses("192.168.1.5:8080", None, token)
        assert one.refuses("localhost:8080", None, token), "loopback too"
    assert not Guard.of("127.0.0.1", "").token


def test_with_other_interfaces_the_names_are_numbers_and_those_of_this_machine():
    guard = Guard.of("wall.example", TOKEN)
    machine = socket.gethostname().lower()
    for host in ("wall.example", machine, f"{machine}.local:8080", "10.0.0.7", "[fe80::1]:80"):
        assert not guard.refuses(host, None, TOKEN), host
    assert guard.refuses("evil.example", None, TOKEN)
