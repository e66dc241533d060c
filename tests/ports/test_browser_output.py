"""The output `browser:` as a place to send pictures to; tests/browser has what viewers see."""

from __future__ import annotations

import signal
import subprocess
import sys
import urllib.error
import urllib.request

import numpy as np
import pytest

from emulator import OutputClosedError, SimulatedClock, load_display, open_output
from emulator.ports.address import AddressError
from emulator.ports.browser import BrowserOutput
from emulator.view.controls import Action
from harness.cli import main


@pytest.fixture
def display():
    return load_display("sign")


def test_it_opens_by_its_address_and_prints_where_to_look(display, capsys):
    with open_output("browser:0", display) as output:
        assert isinstance(output, BrowserOutput)
        assert output.url in capsys.readouterr().err
        assert output.url.startswith("http://localhost:")
        with urllib.request.urlopen(output.url) as answer:
            assert b"page.js" in answer.read()
        sent = output.send(np.full(display.picture_shape, 9, np.uint8))
        assert sent.latched_ns
        assert (output.bench.picture > 0).any()
    with pytest.raises(urllib.error.URLError):
        urllib.request.urlopen(output.url)
    with pytest.raises(OutputClosedError):
        output.send(np.zeros(display.picture_shape, np.uint8))


def test_a_token_of_the_address_is_needed_on_loopback_too(display):
    with open_output("browser:0?host=127.0.0.1&token=fern_heron-1234_5", display) as output:
        assert output.url.endswith("/?token=fern_heron-1234_5")
        with pytest.raises(urllib.error.HTTPError, match="403"):
            urllib.request.urlopen(output.url[:-1])


@pytest.mark.parametrize(
    "address",
    ["browser:http", "browser:99999", "browser:-1", "browser:８０８０", "browser:8080?host=",
     "browser:8080?token=short", "browser:8080?token=", "browser:8080?tokn=0123456789abcdefgh",
     "browser:8080?token=0123456789abcdefgh%20"],
)  # fmt: skip
def test_a_wrong_address_is_refused_and_nothing_is_served(display, address):
    with pytest.raises(AddressError) as refused:
        open_output(address, display)
    assert "Fix: " in str(refused.value)


def test_send_takes_the_time_of_the_wire_and_waits_while_viewers_pause(display):
    clock = SimulatedClock()
    with BrowserOutput(display, port=0, clock=clock) as output:
        actions = output.screen._server.actions
        actions.append(Action.STEP)  # pauses
        actions.append(Action.STEP)  # lets one picture through
        sent = output.send(np.zeros(display.picture_shape, np.uint8))
        assert clock.now_ns() >= sent.ready_ns
        assert output.state.paused
        actions.append(Action.PAUSE)
        output.pump()
        assert not output.state.paused


def test_beside_another_wall_it_has_a_thread_of_its_own(display):
    with BrowserOutput(display, port=0) as output:
        assert output.beside
    with open_output(["memory:", "browser:0"], display) as both:
        for _ in range(3):
            both.send(np.zeros(display.picture_shape, np.uint8))
        assert both.bench.clock.now_ns() > 0


@pytest.mark.slow
def test_the_command_serves_until_it_is_ended():
    command = [sys.executable, "-m", "foreglow", "view", "sign", "--browser", "--port", "0"]
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as run:
        try:
            line = run.stdout.readline()
            assert "http://localhost:" in line
            url = line.split()[4]
            with urllib.request.urlopen(url) as answer:
                assert answer.status == 200
        finally:
            run.send_signal(signal.SIGINT)
        out, err = run.communicate(timeout=60)
    assert (run.returncode, out, err) == (0, "Closed.\n", "")


@pytest.mark.parametrize("words", [["--port", "8080"], ["--browser", "--full-screen"]])
def test_options_that_do_not_fit_together_are_refused(words, monkeypatch, capsys):
    monkeypatch.setattr(sys, "argv", ["foreglow", "view", "sign", *words])
    with pytest.raises(SystemExit) as ended:
        main()
    assert ended.value.code == 2
    assert "--browser" in capsys.readouterr().err
