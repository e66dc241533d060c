"""`foreglow check --listen`: what a program sends by itself."""

from __future__ import annotations

import io
import json
import re
import socket
import sys
from dataclasses import replace

import numpy as np
import pytest
from rich.console import Console

from emulator import Bench, RealClock, SubjectError, load_display
from emulator.description.faults.reading import with_faults
from emulator.ports.address import Address
from emulator.ports.e131.packet import DISCOVERY_UNIVERSE, DataPacket
from emulator.ports.e131.sender import Sender
from emulator.ports.e131.setup import read_setup
from emulator.ports.link import wire_link
from harness.checks.listening import Listening, hear
from harness.cli.options import exit_status
from harness.report.check.verdict import closing, print_report
from harness.subject.reception import Arrived, E131Reception, Trouble
from tests.harness.subject import programs
from tests.harness.subject.test_program import foreglow, free_port

MS = 1_000_000
# 12 LEDs of 24 bits, 1.25 µs a bit (WS2812B datasheet, Worldsemi), and its reset after them
WIRE_NS = 12 * 24 * 1250


@pytest.fixture
def wall(tmp_path):
    path = tmp_path / "wall.toml"
    path.write_text(programs.WALL + "[controller]\nframe_rate = 50\n[power]\nlimit_a = 0.5\n")
    return load_display(path)


def heard(wall, times_ms, data=bytes([0, 10, 0]) * 12, trouble=(), frames=()):
    """The report on frames that come at these times: identical ones, or those given."""
    bench, listening = Bench(wall), Listening(wall)
    for number, time_ms in enumerate(times_ms):
        time_ns = round(time_ms * MS)
        bench.clock.wait_until(time_ns)
        data = frames[number] if frames else data
        lines = tuple(bench.split(data))
        listening.take(Arrived(time_ns, lines, bench.send_frame(data)))
    return listening.report("test", wire_link(wall), trouble)


def said(report):
    return [finding.what for finding in report.findings]


def test_an_even_stream_at_the_wanted_rate_is_right(wall):
    report = heard(wall, range(0, 1000, 20))
    assert said(report) == []
    figures = report.to_json()["figures"]["rate"]
    assert figures["frames_per_s"] == 50
    assert figures["jitter_ms"] == 0
    assert figures["interval_ms"] == {"median": 20, "99%": 20, "longest": 20}


def test_jitter_is_the_standard_deviation_of_the_intervals(wall):
    # intervals 18 and 22 in turn: mean 20, each 2 off
    times = np.cumsum([0, *[18, 22] * 25])
    report = heard(wall, times)
    assert report.to_json()["figures"]["rate"]["jitter_ms"] == 2
    assert said(report) == []


def test_a_slow_stream_is_told(wall):
    assert said(heard(wall, range(0, 1000, 40))) == [
        "25.0 frames/s arrive; the display file asks for 50"
    ]


def test_stutter_is_told(wall):
    times = [20 * n + (30 if n >= 10 else 0) + (30 if n >= 20 else 0) for n in range(100)]
    assert "the rate is uneven: 2 of 99 frames come late" in said(heard(wall, times))


def test_frames_for_which_there_is_no_room_are_early(wall):
    reset_ns = Bench(wall).strips[0].reset_ns
    cycle_ms = (WIRE_NS + reset_ns) / MS
    # Two at once: one on the wire, one held. The third of three has to wait for both.
    assert heard(wall, [0, 0, 20, 20]).to_json()["figures"]["rate"]["early"] == 0
    report = heard(wall, [0, cycle_ms / 4, cycle_ms / 2, 20])
    assert report.to_json()["figures"]["rate"]["early"] == 1
    assert any("1 of 4 frames come too early" in what for what in said(report))


def test_leds_that_get_nothing_and_leds_never_lit_are_named(wall):
    report = heard(wall, range(0, 100, 20), bytes([0, 10, 0]) * 10)
    assert said(report) == [
        "the last 2 of 12 LEDs of line 0 get no data in some frames",
        "2 of 12 LEDs stayed dark throughout",
    ]


def test_current_is_the_sum_of_the_channels_and_its_limit_is_kept(wall):
    report = heard(wall, [0, 20], bytes([255]) * 36)
    chip = wall.chip
    by_hand = 12 * (3 * chip.channel_ma + chip.dark_ma) / 1000
    assert report.to_json()["figures"]["current"]["most_a"] == pytest.approx(by_hand, abs=1e-4)
    assert f"the program asks for {by_hand:.2f} A; the limit is 0.5 A" in said(report)


def test_what_the_receiving_end_counted_is_a_fault(wall):
    report = heard(wall, [], trouble=(Trouble("3 frames were dropped", "send less"),))
    assert report.verdict == "fail"
    assert said(report) == ["3 frames were dropped"]
    assert report.findings[0].remedy == "send less."


@pytest.mark.parametrize(
    ("times_ms", "trouble", "rate", "whole", "words", "says"),
    [
        (range(0, 1000, 20), (), "pass", "pass", "right", "Everything is right."),
        (range(0, 1000, 40), (), "warning", "warning", "doubtful", "No fault, 1 warning."),
        (
            range(0, 1000, 40),
            ("lost",),
            "warning",
            "fail",
            "doubtful",
            "1 fault and 1 warning found.",
        ),
        (range(0, 1000, 20), ("lost",), "pass", "fail", "right", "1 fault found."),
    ],
)
def test_verdicts_agree_with_findings(wall, times_ms, trouble, rate, whole, words, says):
    report = heard(wall, times_ms, trouble=tuple(Trouble(what, "") for what in trouble))
    found = report.to_json()
    assert (found["verdict"], found["figures"]["rate"]["verdict"]) == (whole, rate)
    assert (exit_status(report.findings) == 0) == (report.verdict == "pass")
    light = np.zeros((wall.grid.rows, wall.grid.columns, 3), np.float32)
    console = Console(width=100, record=True, file=io.StringIO())
    print_report(report, wall, light, light, console)
    told = console.export_text()
    assert re.search(rf"^ *rate +{words} ", told, re.M)
    assert told.rstrip().endswith(says)


def test_a_wall_with_a_fault_that_no_check_finds_is_not_called_right(wall):
    report = heard(wall, range(0, 1000, 20))
    cover = with_faults(wall, ["cover-missing column=0 row=0"])
    assert closing(report, wall).plain.startswith("Everything is right.")
    told = closing(report, cover).plain
    assert told.startswith("No check finds what is wrong with the wall as built.")


def test_levels_for_other_universes_are_mended_by_naming_those_wanted():
    foyer = load_display("foyer")
    address = f"e131://127.0.0.1:{free_port()}?universe=3"
    setup = read_setup(Address.parse(address), foyer)
    listening = Listening(foyer)
    with (
        E131Reception(foyer, RealClock(), listening.take, address) as reception,
        socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock,
    ):
        packet = DataPacket(bytes(16), 1, bytes(512))
        sock.sendto(packet.encode(), setup.destination(1))
        sock.sendto(replace(packet, universe=3, start_code=1).encode(), setup.destination(1))
        while len(reception.trouble()) < 2:
            reception.step()
        report = listening.report("test", wire_link(foyer), reception.trouble())
    # 716 LEDs of three bytes, 170 in the 512 slots of a universe (ANSI E1.31-2018, 7.6): five
    other, code = report.findings
    assert other.what.startswith("1 datagram discarded: a universe that this display does not use")
    assert other.remedy.startswith("send to universes 3 to 7 (170 LEDs each)")
    assert code.remedy == "send levels with start code 0."


def test_what_every_e131_source_has_to_send_is_no_fault(wall):
    """ANSI E1.31-2018: by 4.3 the universes every 10 s, by 6.2.6 the end three times."""
    address = f"e131://127.0.0.1:{free_port()}"
    setup = read_setup(Address.parse(address), wall)
    sender = Sender(setup.packing, bytes(16), "by the book")
    drives = np.zeros((wall.leds, 3), np.uint8)
    listening = Listening(wall)
    with (
        E131Reception(wall, RealClock(), listening.take, address) as reception,
        socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock,
    ):

        def send(datagrams):
            for datagram in datagrams:
                sock.sendto(datagram.payload, setup.destination(1))
            reception.step()

        send([*sender.discovery(), *sender.frame(drives), *sender.end()])
        assert sender.discovery()[0].universe == DISCOVERY_UNIVERSE
        assert listening.count == 1
        assert reception.trouble() == ()
        send([sender.frame(drives)[0]._replace(payload=b"x")])
        (one,) = reception.trouble()
        assert one.what == "1 datagram discarded: too short to be a packet"
        assert "ANSI E1.31" in one.fix


def test_nothing_at_all_is_no_verdict(wall):
    with pytest.raises(SubjectError, match="nothing came from test"):
        heard(wall, [])


@pytest.mark.parametrize("spoil", [None, "start", "mark"])
def test_frames_without_the_marks_of_a_chip_are_told(spoil):
    sign = load_display("sign")
    # APA102 datasheet: 32 zero bits, then 0b111 and five bits of intensity before each LED
    frame = bytearray(bytes(4) + bytes([0b111_11111, 9, 9, 9]) * 128 + bytes(8))
    if spoil == "start":
        frame[1] = 1
    if spoil == "mark":
        frame[4 + 4 * 7] = 31
    report = heard(sign, range(0, 1000, 10), bytes(frame))
    told = any("are not framed as APA102 needs it" in what for what in said(report))
    assert told == (spoil is not None)


# WCAG 2.2, SC 2.3.1: no more than three flashes in any one second, unless they are small. Four by
# three cells of 100 mm from 1 m are 0.12 sr, much more than the 0.006 sr that may flash.
@pytest.fixture
def near(tmp_path):
    path = tmp_path / "near.toml"
    grid = programs.WALL.replace("rows = 3", "rows = 3\npitch_mm = 100")
    path.write_text(grid + "[view]\ndistance_m = 1\n[controller]\nframe_rate = 20\n")
    return load_display(path)


def blinking(display, hertz, seconds, colour=(255, 255, 255), every_ms=10):
    """A report on light that blinks while frames come steadily, most of them like the last."""
    bench, listening = Bench(display, keep=1), Listening(display)
    lit = bytes(colour) * 12  # GRB on the wire
    for number in range(seconds * 1000 // every_ms):
        time_ns = 5_000_000_000 + number * every_ms * MS
        bench.clock.wait_until(time_ns)
        data = lit if int(2 * hertz * number * every_ms / 1000 + 1e-9) % 2 else bytes(36)
        lines = tuple(bench.split(data))
        listening.take(Arrived(time_ns, lines, bench.send_frame(data)))
    return listening.report("test", wire_link(display), ())


@pytest.mark.parametrize(
    ("hertz", "colour", "kinds"),
    [
        (5, (255, 255, 255), ["general"]),
        (5, (0, 255, 0), ["general", "red"]),
        (5, (0, 90, 0), ["red"]),  # 90 of 255, linear: 0.075 of full white, no general flash
        (3, (255, 255, 255), []),
        (1, (0, 255, 0), []),
    ],
)
def test_flashes_are_told_above_three_a_second(near, hertz, colour, kinds):
    report = blinking(near, hertz, 2, colour)
    found = [f for f in report.findings if f.check == "flash"]
    assert [f.what.partition("(")[2].split()[0] for f in found] == kinds
    assert all(f.severity == "warning" and "not a medical clearance" in f.evidence for f in found)
    figures = report.to_json()["figures"]["flash"]
    assert figures["distance_m"] == 1
    if kinds == ["general"]:
        assert figures["general_most"] == 5
        assert "5 general flashes" in found[0].evidence


def test_flashes_long_ago_are_told_with_their_time(near):
    """Flashes from 10 s to 11 s of a minute, frames at the times they latched."""
    bench, listening = Bench(near), Listening(near)
    for number in range(600):
        bench.clock.wait_until(number * 100 * MS)
        data = bytes([255 * (100 <= number < 110 and number % 2)]) * 36
        lines = tuple(bench.split(data))
        listening.take(Arrived(bench.clock.now_ns(), lines, bench.send_frame(data)))
    report = listening.report("test", wire_link(near), ())
    (found,) = (f for f in report.findings if f.check == "flash")
    assert "from 10.00 s to 11.00 s" in found.evidence


@pytest.mark.slow
@pytest.mark.parametrize("half_s", [0.05, 10])
def test_a_program_that_flashes_is_told_from_one_that_does_not(near, tmp_path, half_s):
    show = f"show(bytes([255 * (number * 0.025 // {half_s} % 2 >= 1)]) * 36)"
    program = programs.STREAM.replace("show(bytes([number % 200 + 1]) * 36)", show)
    (tmp_path / "stream.py").write_text(program.replace("sleep(0.01)", "sleep(0.025)"))
    command = f"{sys.executable} {tmp_path}/stream.py {{port}}"
    report = hear(near, RealClock(), 1.3, program=command).report
    told = [f.what for f in report.findings if f.check == "flash"]
    wanted = ["the light flashes more than 3 times a second (general flashes)"]
    assert told == (wanted if half_s == 0.05 else [])


def test_a_program_that_sends_by_itself_is_heard(wall, tmp_path):
    (tmp_path / "stream.py").write_text(programs.STREAM)
    command = f"{sys.executable} {tmp_path}/stream.py {{port}}"
    lines = []
    result = hear(wall, RealClock(), 0.3, program=command, say=lines.append)
    assert "the board of " in lines[0]
    assert result.report.to_json()["figures"]["frames"]["frames"] > 1
    assert result.report.to_json()["figures"]["frames"]["trouble"] == []
    assert result.shown[0, 0, 0] > 0
    assert np.all(result.shown == result.shown[0, 0, 0])


def test_bytes_over_are_told_although_no_frame_is_whole(wall, tmp_path):
    (tmp_path / "stream.py").write_text(programs.STREAM.replace("* 36", "* 40"))
    command = f"{sys.executable} {tmp_path}/stream.py {{port}}"
    report = hear(wall, RealClock(), 0.1, program=command).report
    assert "line 0 takes 36 bytes and got 4 too many" in said(report)


def test_data_for_a_line_there_is_not_is_told(wall, tmp_path):
    (tmp_path / "stream.py").write_text(programs.STREAM.replace(r'b"\0\0\0"', r'b"\5\0\0"'))
    command = f"{sys.executable} {tmp_path}/stream.py {{port}}"
    report = hear(wall, RealClock(), 0.1, program=command).report
    assert "data came for line 5; the last line is 0" in said(report)


def test_nobody_comes_by_either_way(wall):
    with pytest.raises(SubjectError, match="nothing came from the board of"):
        hear(wall, RealClock(), 1, patience_s=0.05)
    with pytest.raises(SubjectError, match="nothing came from E1"):
        hear(wall, RealClock(), 1, address=f"e131://127.0.0.1:{free_port()}", patience_s=0.05)


def test_a_program_that_ends_early_is_told(wall, tmp_path):
    (tmp_path / "ends.py").write_text(programs.EXITS)
    command = f"{sys.executable} {tmp_path}/ends.py {{port}}"
    with pytest.raises(SubjectError, match="which ended with status 3"):
        hear(wall, RealClock(), 1, program=command)


@pytest.mark.parametrize(("status", "verdict"), [(0, "warning"), (3, "fail")])
def test_a_program_that_ends_before_the_time_is_over_is_told(wall, tmp_path, status, verdict):
    text = programs.STREAM.replace("while True:", "for _ in range(20):")
    (tmp_path / "ends.py").write_text(f"{text}time.sleep(0.3)\nsys.exit({status})\n")
    command = f"{sys.executable} {tmp_path}/ends.py {{port}}"
    report = hear(wall, RealClock(), 20, program=command).report
    result = next(r for r in report.results if r.check == "frames")
    assert f"the program ended with status {status} before the time was over" in said(report)
    assert result.verdict == verdict


@pytest.mark.slow
def test_a_program_that_prints_megabytes_is_told(wall, tmp_path, capfd):
    text = programs.STREAM.replace("    show(", "    print('x' * 400_000); show(")
    (tmp_path / "prints.py").write_text(text)
    command = f"{sys.executable} {tmp_path}/prints.py {{port}}"
    report = hear(wall, RealClock(), 1.5, program=command).report
    assert any("the program printed" in what for what in said(report))
    assert len(capfd.readouterr().err) < 100_000


def test_single_black_frames_of_a_stream_are_told(wall):
    bright, dark = bytes([50]) * 36, bytes(36)
    frames = [bright, bright, dark] * 6 + [bright]
    report = heard(wall, range(0, 20 * len(frames), 20), frames=frames)
    assert "every third frame is black" in said(report)


def test_the_command_judges_a_stream(tmp_path, wall, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "stream.py").write_text(programs.STREAM.replace("* 36", "* 30"))
    theirs = f"{sys.executable} stream.py {{port}}"
    words = ("check", "wall.toml", "--program", theirs, "--listen", "200ms", "--json")
    status, out, err = foreglow(monkeypatch, capsys, *words)
    assert status == 1
    assert "Listening for 0.2 s" in err
    assert any("the last 2 of 12 LEDs" in each["what"] for each in json.loads(out)["findings"])


def test_listening_takes_no_map(tmp_path, wall, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    words = ("check", "wall.toml", "--listen", "1s", "--call", "a:b")
    assert foreglow(monkeypatch, capsys, *words)[0] == 2


@pytest.mark.parametrize("option", ["--only", "--sheet"])
def test_listening_runs_no_checks(tmp_path, wall, monkeypatch, capsys, option):
    monkeypatch.chdir(tmp_path)
    status, _, err = foreglow(
        monkeypatch, capsys, "check", "wall.toml", "--listen", "1s", option, "x"
    )
    assert status == 2
    assert "leave out --only and --sheet" in err


def test_power_without_a_limit_finds_no_fault_in_full_white(wall):
    free = replace(wall, power=wall.power.model_copy(update={"limit_a": None}))
    assert said(heard(free, range(0, 100, 20), bytes([255]) * 36)) == []
