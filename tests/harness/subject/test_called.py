"""A function in its own process: whatever it does, the check continues or says what happened."""

from __future__ import annotations

import os
import re
import sys

import numpy as np
import pytest

from emulator import RealClock, SubjectError, load_display
from harness.checks.check import run_checks
from harness.subject.called import CalledFunction
from harness.subject.printed import MUCH_PRINTED
from harness.subject.trial import Trial

SIGN = load_display("sign")
PICTURE = np.random.default_rng(1).integers(0, 256, SIGN.picture_shape, np.uint8)
BYTES = 4 + 4 * SIGN.leds + 8


WAYS = pytest.mark.parametrize("called", ["fork", "spawn"], indirect=True)


@pytest.fixture
def called(request, tmp_path, monkeypatch):
    """Writes a module of display code and calls its function `f`; ends it."""
    if getattr(request, "param", "") == "spawn":  # as on Windows and macOS
        monkeypatch.delattr(os, "fork", raising=False)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(sys, "path", list(sys.path))
    started = []

    def call(text: str, **options) -> CalledFunction:
        (tmp_path / "theirs.py").write_text(text)
        started.append(CalledFunction("theirs:f", SIGN, RealClock(), **options))
        return started[-1]

    yield call
    for function in started:
        function.close()


@WAYS
def test_the_bytes_are_those_of_the_function(called):
    subject = called("def f(p):\n    return [bytes(p.reshape(-1)[:600])]\n").subject
    (line,) = subject.to_wire(PICTURE.copy())
    assert line.tolist() == PICTURE.reshape(-1)[:600].tolist()
    assert subject.took_ns() > 0


@WAYS
def test_a_picture_that_is_changed_comes_back_changed(called):
    subject = called("def f(p):\n    p[0] = 7\n    return bytes(9)\n").subject
    picture = PICTURE.copy()
    subject.to_wire(picture)
    assert (picture[0] == 7).all()
    assert np.array_equal(picture[1:], PICTURE[1:])


@pytest.mark.parametrize(
    ("body", "said"),
    [
        ("os._exit(0)", "ended its process with status 0 while calling it"),
        ("os._exit(3)", "ended its process with status 3 while calling it"),
        ("faulthandler.disable(); os.abort()", r"had its process ended by signal 6 \(Aborted\)"),
        ("os.kill(os.getpid(), 9)", r"had its process ended by signal 9 \(Killed\)"),
        ("sys.exit(0)", "line 3: SystemExit while calling theirs:f"),
        ("raise KeyboardInterrupt", "KeyboardInterrupt while calling theirs:f"),
        ("raise ValueError('no')", "line 3: ValueError while calling theirs:f: no"),
        ("return None", "returned None"),
        ("return 3.5", "theirs:f: bytes for the wire are float"),
    ],
)
def test_whatever_ends_a_call_is_told(called, body, said):
    subject = called(f"import faulthandler, os, sys\ndef f(p):\n    {body}\n").subject
    with pytest.raises(SubjectError, match=said) as caught:
        subject.to_wire(PICTURE.copy())
    assert "\n  Fix: " in str(caught.value)


@WAYS
def test_a_process_that_ends_while_a_child_lives_on_is_told(called, tmp_path):
    text = (
        "import os, subprocess\ndef f(p):\n    subprocess.Popen(['sleep', '60'])\n    os._exit(1)\n"
    )
    with pytest.raises(SubjectError, match="ended its process with status 1"):
        called(text).subject.to_wire(PICTURE.copy())


@pytest.mark.slow
@WAYS
@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("import os\nos._exit(0)\n", "ended its process with status 0 while importing it"),
        ("raise ValueError('no')\n", "ValueError while importing theirs: no"),
        ("g = 3\n", "theirs has no 'f'"),
    ],
)
def test_what_happens_on_importing_is_told(called, text, said):
    before = os.listdir("/proc/self/fd")
    with pytest.raises(SubjectError, match=said):
        called(text)
    assert len(os.listdir("/proc/self/fd")) == len(before)


@WAYS
def test_a_function_that_never_returns_is_told(called):
    subject = called("def f(p):\n    while True: pass\n", patience_s=0.3).subject
    with pytest.raises(SubjectError, match=r"gave no answer in 0\.3 s while calling it"):
        subject.to_wire(PICTURE.copy())


def test_what_it_prints_is_counted_and_only_the_first_of_it_passed_on(called, capfd):
    text = f"def f(p):\n    print('x' * 30_000)\n    return bytes({BYTES})\n"
    function = called(text)
    trial = Trial(SIGN, function.subject)
    report = run_checks(trial, ("timing",))
    (finding,) = report.findings
    assert re.fullmatch(r"the code printed \d\.\d MB over \d+ pictures", finding.what)
    assert "check timing" in finding.where
    assert function.subject.printed() > MUCH_PRINTED
    function.close()
    assert len(capfd.readouterr().err) < 100_000


def test_what_it_prints_is_harmless_on_a_terminal(called, capfd):
    text = "a\x1b]0;owned\x07b\r\u202ec"
    data = f"{text}\r\n".encode() + b"\x9b\xff\n"
    function = called(
        f"import os\ndef f(p):\n    os.write(1, {data!r})\n    return bytes({BYTES})\n"
    )
    function.subject.to_wire(PICTURE.copy())
    function.close()
    assert "a\\x1b]0;owned\\x07b\n\\u202ec\n\ufffd\ufffd\n" in capfd.readouterr().err
