"""The show as a service: the unit as systemd reads it, and the messages that systemd gets."""

from __future__ import annotations

import os
import re
import shlex
import shutil
import socket
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import emulator
from harness.show.service.notify import Notify
from harness.show.service.unit import Service, UnitError, quoted
from tests.tables import telling

ROOT = Path(emulator.__file__).parent.parent
PATIENCE_S = 30
WALL = '[grid]\ncolumns = 4\nrows = 2\n[chip]\npart = "WS2812B"\n[wiring]\n'
SCENE = (
    "import os\nimport numpy as np\n"
    "assert not {'NOTIFY_SOCKET', 'WATCHDOG_USEC', 'WATCHDOG_PID'} & set(os.environ)\n"
    "def picture(time_s, display):\n    return np.full(display.picture_shape, 100, np.uint8)\n"
)

verify = pytest.mark.skipif(
    shutil.which("systemd-analyze") is None,
    reason="no systemd-analyze (apt-get install systemd)",
)
unix = pytest.mark.skipif(not hasattr(socket, "AF_UNIX"), reason="no sockets of AF_UNIX")


def verified(text, folder, name="foreglow-wall", user=False):
    """What systemd-analyze says about a unit: nothing if it is right."""
    (folder / f"{name}.service").write_text(text)
    words = ["systemd-analyze", *["--user"] * user, "verify", str(folder / f"{name}.service")]
    done = subprocess.run(
        words, capture_output=True, text=True, env={**os.environ, "XDG_RUNTIME_DIR": str(folder)}
    )
    return done.stderr + done.stdout + (f"status {done.returncode}" if done.returncode else "")


def service_of(folder, *command, **more):
    settings = {
        "display": "wall",
        "scene": "scene.py",
        "command": command,
        "folder": folder,
        "on_screen": False,
        "user": "root",
        "groups": (),
        "memory": 10**9,
        "scenes": 1,
    }
    return Service(**{**settings, **more})


def value(text, key):
    return re.search(rf"^{key}=(.*)$", text, re.M)[1]


def as_systemd_reads(line):
    """The words of ExecStart=: systemd.service(5), 'Command lines', and the specifier %%.

    Its quotes and backslashes, as far as they are used here, are those of POSIX shells; shlex
    is another reader of these.
    """
    return [word.replace("$$", "$") for word in shlex.split(line.replace("%%", "%"))]


ODD = ["a b", "100%", "%h", 'say "so"', "it's", "back\\slash", "$HOME", "${x}", ";", "grün", "#1"]


@pytest.mark.parametrize("word", ODD)
def test_what_is_quoted_is_read_as_it_was(word):
    assert as_systemd_reads(quoted(word)) == [word]


@given(st.text(st.characters(min_codepoint=32, max_codepoint=0x2000, categories=("L", "N", "P"))))
def test_any_word_is_quoted(word):
    assert as_systemd_reads(quoted(word)) == [word]


@pytest.mark.parametrize("word", ["two\nlines", "\x1b[2J", "tab\t"])
def test_what_no_line_can_hold_is_refused(word):
    with pytest.raises(UnitError, match="Fix:"):
        quoted(word)
    with pytest.raises(UnitError, match="Fix:"):
        service_of(Path(f"/{word}"), "/bin/true").text()


@verify
@pytest.mark.parametrize("folder", ["plain", *ODD])
def test_systemd_accepts_the_unit_and_finds_the_program_in_a_folder_of_any_name(folder, tmp_path):
    place = tmp_path / folder.strip("/")
    place.mkdir()
    program = place / "foreglow"
    program.write_text("#!/bin/sh\n")
    program.chmod(0o755)
    text = service_of(place, str(program), *ODD).text()
    assert verified(text, tmp_path) == ""
    words = as_systemd_reads(value(text, "ExecStart"))
    if words[0] == str(program):
        program.unlink()
        assert f"{program} is not executable" in verified(text, tmp_path)
    else:  # a shell starts a program whose name systemd does not accept
        program.write_text('#!/bin/sh\nfor word; do printf "%s\\n" "$word"; done\n')
        told = subprocess.run(words, capture_output=True, text=True, check=True)
        assert told.stdout.splitlines() == ODD


@verify
def test_systemd_tells_of_what_is_wrong(tmp_path):
    text = service_of(tmp_path, "/bin/true").text()
    assert verified(text, tmp_path) == ""
    assert "restart specifier" in verified(text.replace("always", "alwys"), tmp_path)


def test_the_unit_is_watched_bounded_restarted_and_started_after_boot(tmp_path):
    text = service_of(tmp_path, "/bin/true", groups=("dialout",), scenes=2).text()
    assert (value(text, "Type"), value(text, "Restart")) == ("notify", "always")
    assert (value(text, "WatchdogSec"), value(text, "MemoryMax")) == ("30", "2512000000")
    assert value(text, "StartLimitIntervalSec") == "0"  # never given up: systemd.unit(5)
    assert value(text, "WantedBy") == "multi-user.target"
    assert "network-online.target" in value(text, "After")
    assert value(text, "SupplementaryGroups") == "dialout"
    window = service_of(tmp_path, "/bin/true", groups=("dialout",), on_screen=True).text()
    assert value(window, "WantedBy") == value(window, "After") == "graphical-session.target"
    assert "User=" not in window
    assert "Groups=" not in window
    assert service_of(tmp_path, "x", display="Foyer, 1. OG").name == "foreglow-Foyer-1-OG"


def test_the_command_prints_a_unit_that_runs_what_was_asked_for(foreglow, tmp_path):
    (tmp_path / "my wall.toml").write_text(WALL)
    (tmp_path / "50% blue.py").write_text(SCENE)
    words = ("my wall.toml", "50% blue.py", "--to", "memory:", "--to", "vcd:a b.vcd?each=1h")
    more = ("--otherwise", "clock", "--memory", "500MB", "--record", "rec")
    status, out, _ = foreglow("service", *words, *more)
    assert status == 0
    found = as_systemd_reads(value(out, "ExecStart"))
    assert found[found.index("run") + 1 :] == [*words, *more[:2], "--patience", "5s", *more[2:]]
    assert Path(found[0]).is_file()
    assert value(out, "WorkingDirectory") == str(Path.cwd())
    assert "sudo systemctl enable --now foreglow-my-wall" in out
    if shutil.which("systemd-analyze"):
        assert verified(out, tmp_path) == ""
    status, out, _ = foreglow("service", "my wall.toml", "clock", "--full-screen")
    assert status == 0
    assert "systemctl --user enable --now foreglow-my-wall" in out
    assert as_systemd_reads(value(out, "ExecStart"))[-1] == "--full-screen"
    if shutil.which("systemd-analyze"):
        assert verified(out, tmp_path, user=True) == ""


def test_what_no_show_can_be_is_no_service(foreglow, tmp_path):
    for words in (
        ("foyer", "clok"),
        ("none.toml", "clock"),
        ("foyer", "clock", "--memory", "much"),
        ("foyer", "clock", "--to", "vcd:t.vcd", "--to", "vcd:t.vcd"),
    ):
        status, out, err = foreglow("service", *words)
        assert (status, out) == (2, ""), words
        assert err


@pytest.fixture(params=["path", "abstract"])
def manager(request, tmp_path):
    """A socket as the service manager has it, and its name in NOTIFY_SOCKET."""
    if request.param == "abstract" and not sys.platform.startswith("linux"):
        pytest.skip("abstract names are Linux's: unix(7)")
    name = f"foreglow-test-{os.getpid()}-{tmp_path.name}"
    address = str(tmp_path / "notify") if request.param == "path" else f"@{name}"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listening:
        listening.bind(address if request.param == "path" else f"\0{name}")
        listening.settimeout(PATIENCE_S)
        yield listening, address


@unix
def test_the_manager_is_told_what_sd_notify_says(manager):
    listening, address = manager
    environment = {
        "NOTIFY_SOCKET": address,
        "WATCHDOG_USEC": "2000000",
        "WATCHDOG_PID": str(os.getpid()),
        "HOME": "/",
    }
    with Notify(environment) as notify:
        assert environment == {"HOME": "/"}
        notify.ready("clock\non wall")
        for ms in range(0, 3000, 100):
            notify.alive(ms * 1_000_000)
        notify.stopping()
    got = [listening.recv(4096).decode() for _ in range(5)]
    # Every second: half of the two that the manager allows, sd_watchdog_enabled(3).
    assert got == ["READY=1\nSTATUS=clock on wall", *["WATCHDOG=1"] * 3, "STOPPING=1"]


@unix
def test_a_watchdog_of_another_process_is_not_fed(manager):
    listening, address = manager
    with Notify({"NOTIFY_SOCKET": address, "WATCHDOG_USEC": "1", "WATCHDOG_PID": "1"}) as notify:
        notify.alive(10**12)
        notify.stopping()
    assert listening.recv(4096) == b"STOPPING=1"


@unix
def test_a_manager_that_is_not_there_or_does_not_read_stops_nothing(tmp_path):
    with Notify({}) as notify:
        notify.ready("x")
    with Notify({"NOTIFY_SOCKET": str(tmp_path / "gone"), "WATCHDOG_USEC": "2"}) as notify:
        notify.ready("x")
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listening:
        listening.bind(str(tmp_path / "full"))
        with Notify({"NOTIFY_SOCKET": str(tmp_path / "full"), "WATCHDOG_USEC": "2"}) as notify:
            for number in range(5000):
                notify.alive(number * 10_000)


@pytest.mark.slow
@unix
@pytest.mark.parametrize(
    "manager", telling(["path", "abstract"], lambda kind: kind == "path"), indirect=True
)
def test_a_show_tells_its_manager_from_begin_to_end(manager, tmp_path):
    """Also while its scene loads, which takes longer here than the show and the watchdog allow."""
    listening, address = manager
    (tmp_path / "wall.toml").write_text(WALL)
    (tmp_path / "scene.py").write_text(f"import time\ntime.sleep(1)\n{SCENE}")
    main = "from harness.cli import main; main()"
    words = ["run", "wall.toml", "scene.py", "--to", "memory:", "--for", "0.1s"]
    environment = {
        **os.environ,
        "PYTHONPATH": str(ROOT),
        "NOTIFY_SOCKET": address,
        "WATCHDOG_USEC": "200000",
    }
    show = subprocess.Popen(
        [sys.executable, "-c", main, *words],
        cwd=tmp_path,
        env=environment,
        stderr=subprocess.PIPE,
        text=True,
    )
    got: list[bytes] = []
    while not got or got[-1] != b"STOPPING=1":  # read at once: the queue holds few (unix(7))
        got.append(listening.recv(4096))
    _, told = show.communicate(timeout=4 * PATIENCE_S)
    assert show.returncode == 0, told
    assert "restarts of scenes: 0" in told
    assert got[0] == b"READY=1\nSTATUS=scene.py on wall"
    assert set(got[1:-1]) == {b"WATCHDOG=1"}
    assert len(got) > 6  # one every 0.1 s
