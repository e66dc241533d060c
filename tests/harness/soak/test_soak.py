"""Hours of the show on simulated time: it reports every fault, and nothing else."""

from __future__ import annotations

import dataclasses
import json
import time
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from emulator import SimulatedClock, load_display, parse_display
from emulator.errors import SourceError
from emulator.picture.camera import Camera
from harness.report.soak.plot import soak_plot
from harness.show.loop import Pace, Slot
from harness.simulated.machine_time import MachineTime
from harness.soak.drawing import Drawing
from harness.soak.faults import FAULTS
from harness.soak.injection import APART_S, Injection, Planned
from harness.soak.memory import MOST_GROWTH, MemoryWatch, resident_bytes
from harness.soak.player import SceneClock, SimulatedPlayer
from harness.soak.rig import RigOutput, ShowFault
from harness.soak.soak import soak
from harness.soak.verdict import findings_of, late_alone
from tests.picture.media import write_clip

WALL = """
[grid]
columns = 4
rows = 2
[chip]
part = "WS2812B"
[wiring]
[controller]
frame_rate = {rate}
"""
PERIOD_S = 0.2  # at the 5 frames/s of most tests

HEAD = "import time, pathlib\nimport numpy as np\n"
LIT = "    return np.full(display.picture_shape, 100, np.uint8)\n"


def wall_of(rate=5):
    return parse_display(WALL.format(rate=rate), Path("small.toml"))


@pytest.fixture
def scene_of(tmp_path):
    """Writes a scene file whose `picture` begins with some lines; returns its name."""

    def write(lines, before=""):
        body = "".join(f"    {line}\n" for line in lines.splitlines())
        path = tmp_path / "scene.py"
        path.write_text(f"{HEAD}{before}def picture(time_s, display):\n{body}{LIT}")
        return str(path)

    return write


def all_faults(seconds):
    step_s = seconds / (len(FAULTS) + 1)
    return [Planned((n + 1) * step_s, FAULTS[name]()) for n, name in enumerate(FAULTS)]


def whats(soaked):
    return [finding.what for finding in findings_of(soaked)]


def test_a_good_show_has_no_findings_and_exact_figures():
    soaked = soak(wall_of(), "chase", 300)
    assert findings_of(soaked) == []
    assert soaked.frames == 300 * 5
    assert (soaked.drift_ns, soaked.late, soaked.unsent, soaked.early) == (0, 0, 0, 0)
    # WS2812B datasheet: 24 bits of 1.25 µs an LED, then 50 µs low; the last LED passes on 7 times.
    assert soaked.dark_ns == 8 * 24 * 1250 + 50_000 + 7 * 300
    assert soaked.outcomes == ()


def test_the_current_is_that_of_the_pictures_shown(scene_of):
    # Full white from the first minute on, dark before: 8 LEDs of three channels.
    display = wall_of()
    scene = scene_of(
        "if time_s < 60: return np.zeros(display.picture_shape)\n"
        "return np.ones(display.picture_shape)"
    )
    soaked = soak(display, scene, 240)
    dark_a = 8 * display.chip.dark_ma / 1000
    white_a = dark_a + 8 * 3 * display.chip.channel_ma / 1000
    assert soaked.most_a == pytest.approx(white_a)
    assert soaked.mean_a == pytest.approx((dark_a + 3 * white_a) / 4)
    assert soaked.most_at_s == pytest.approx(60, abs=PERIOD_S)
    begins_s, mean_a, most_a = soaked.curve
    assert mean_a[begins_s > 60] == pytest.approx(white_a)
    assert most_a[0] == pytest.approx(dark_a)


@pytest.mark.slow
def test_every_fault_is_mended_and_told(scene_of):
    soaked = soak(wall_of(), scene_of(""), 720, all_faults(720))
    assert findings_of(soaked) == []
    told = {one.name: one for one in soaked.outcomes}
    assert list(told) == list(FAULTS)
    near = {"abs": 3 * PERIOD_S}
    # One error: 1 s of rest. A hanging scene: 5 s of patience, and 1 s. The documented times.
    assert told["scene-raises"].back_s == pytest.approx(1.0, **near)
    assert told["scene-raises"].restarts == 1
    assert told["scene-hangs"].back_s == pytest.approx(6.0, **near)
    assert told["scene-hangs"].shown["held"] == pytest.approx(6.0, **near)
    assert told["scene-hangs"].late == pytest.approx(5.0 / PERIOD_S, abs=3)
    assert told["camera-lost"].shown == {}
    assert told["camera-lost"].told == "not tried: the scene has asked no Camera"
    assert [name for name, one in told.items() if not one.tried] == ["camera-lost"]
    # 20 s without a port, which is tried again after 1, 2, 4, 5, 5, 5 s.
    assert told["port-lost"].back_s == pytest.approx(22.0, **near)
    assert told["port-lost"].unsent == pytest.approx(22.0 / PERIOD_S, abs=3)
    assert told["disk-full"].shown == {}
    assert told["disk-full"].told == "100 frames recorded, 50 reported lost"
    assert told["clock-back"].shown == {}
    assert soaked.unsent == told["port-lost"].unsent
    assert soaked.drift_ns == 0


@pytest.fixture
def camera_scene(tmp_path):
    """A scene with a Camera, replaced by a clip of ten grey frames; returns its name."""
    clip = str(write_clip(tmp_path / "clip.avi", np.full((10, 64, 64, 3), 128, np.uint8), 10))

    def write(picture):
        path = tmp_path / "camera.py"
        path.write_text(
            "import numpy as np\nfrom emulator.picture.camera import Camera\n"
            "from emulator.picture.mix import Fallback, Turns\n"
            "def bright(time_s, display):\n    return np.ones(display.picture_shape)\n"
            f"picture = {picture.replace('CLIP', repr(clip))}\n"
        )
        return str(path)

    return write


def test_a_camera_is_lost_inside_the_scene_that_has_something_in_its_place(camera_scene):
    scene = camera_scene("Fallback(Camera(CLIP, levels='as is'), bright, fade_s=0)")
    display, planned = wall_of(), [Planned(30, FAULTS["camera-lost"]())]
    soaked = soak(display, scene, 70, planned)
    assert findings_of(soaked) == []
    outcome = soaked.outcomes[0]
    assert (outcome.shown, outcome.unsent, outcome.tried) == ({}, 0, True)
    assert outcome.told.startswith("the scene's Camera failed; it was asked ")
    # Grey, except from the loss until the Fallback tries again, when it is white.
    _, _, most_a = soaked.curve
    white_a = 8 * (display.chip.dark_ma + 3 * display.chip.channel_ma) / 1000
    assert soaked.most_a == pytest.approx(white_a)
    assert most_a[0] < white_a / 2
    assert 30 <= soaked.most_at_s < 31
    assert most_a[-1] < white_a / 2
    assert Camera._before == ()


def test_a_camera_that_nobody_asks_for_while_it_is_lost_changes_nothing(camera_scene):
    # Asked in the first 20 s of every 60 s only; the fault comes at 25 s.
    scene = camera_scene(
        "Turns([Camera(CLIP, levels='as is'), bright, bright], seconds=20, fade_s=0)"
    )
    outcome = soak(wall_of(), scene, 70, [Planned(25, FAULTS["camera-lost"]())]).outcomes[0]
    assert outcome.told == "not tried: the scene's Camera was not asked meanwhile"
    assert (outcome.shown, outcome.tried) == ({}, False)


@pytest.mark.slow
def test_a_camera_with_nothing_in_its_place_leaves_the_scene_without_a_picture(camera_scene):
    planned = [Planned(30, FAULTS["camera-lost"]())]
    scene = camera_scene("Camera(CLIP, levels='as is')")
    outcome = soak(wall_of(), scene, 70, planned).outcomes[0]
    assert outcome.shown["held"] == pytest.approx(10.0, abs=3 * PERIOD_S)
    assert outcome.shown["dark"] == pytest.approx(10.0, abs=3 * PERIOD_S)
    assert outcome.restarts == 0
    assert "the scene's Camera failed" in outcome.told


@pytest.mark.slow
def test_another_scene_stands_in_while_the_first_is_out(camera_scene):
    planned = [Planned(30, FAULTS["camera-lost"]())]
    soaked = soak(
        wall_of(), camera_scene("Camera(CLIP, levels='as is')"), 70, planned, otherwise="chase"
    )
    assert findings_of(soaked) == []
    assert soaked.outcomes[0].shown["otherwise"] == pytest.approx(20, abs=3 * PERIOD_S)
    assert "dark" not in soaked.outcomes[0].shown


@pytest.mark.slow
def test_a_fault_that_was_not_tried_is_said_so_and_not_said_to_be_survived(
    foreglow, scene_of, tmp_path
):
    (tmp_path / "wall.toml").write_text(WALL.format(rate=2))
    words = ("soak", "wall.toml", scene_of(""), "--hours", "0.1", "--fault", "camera-lost")
    status, out, _ = foreglow(*words)
    assert status == 0
    assert "the scene has asked no Camera" in " ".join(out.split())
    assert "Not tried: camera-lost." in out
    status, out, _ = foreglow(*words, "--json")
    assert json.loads(out)["outcomes"][0]["tried"] is False


def test_flashes_are_found_with_their_time_and_kind(scene_of):
    # Four flashes a second, of the whole wall, for two seconds; three a second are allowed (WCAG
    # 2.2, SC 2.3.1), and cells of 33 mm seen from a metre: 8 of them are 0.009 sr, more than 0.006.
    display = parse_display(WALL.format(rate=16) + "[view]\ndistance_m = 1\n", Path("w.toml"))
    lines = (
        "if 20 <= time_s < {end} and int(time_s * 16) % {every} < {every} // 2:\n"
        "    return np.zeros(display.picture_shape)\n"
        "return np.ones(display.picture_shape)"
    )
    soaked = soak(display, scene_of(lines.format(end=22, every=4)), 40)
    assert whats(soaked) == ["the show flashes above the thresholds of WCAG 2.2 (general flashes)"]
    assert findings_of(soaked)[0].where in ("0:00:19 into the show", "0:00:20 into the show")
    calm = soak(display, scene_of(lines.format(end=22, every=16)), 40)
    assert findings_of(calm) == []
    assert [kind.kind for kind in calm.flashes] == ["general", "red"]


def test_a_scene_that_never_comes_back_is_found(scene_of, tmp_path):
    # It trusts that the time of day never falls, and remembers it on disk.
    mark = tmp_path / "mark"
    scene = scene_of(
        "last = float(mark.read_text()) if mark.exists() else 0.0\n"
        "if time.time() < last: raise RuntimeError('the past')\n"
        "mark.write_text(str(time.time()))",
        f"mark = pathlib.Path({str(mark)!r})\n",
    )
    soaked = soak(wall_of(1), scene, 300, [Planned(50, FAULTS["clock-back"]())])
    assert soaked.outcomes[0].back_s is None
    assert (
        whats(soaked)[-1]
        == "the show did not recover from a fault: the time of day is set back by an hour"
    )
    assert "the past" in soaked.outcomes[0].findings[-1]


@pytest.mark.slow
def test_a_scene_that_remembers_all_its_pictures_is_found(scene_of):
    # 64 KiB a picture, each a mapping of its own: memory that other tests gave back would hide it.
    scene = scene_of(
        "kept.append(mmap.mmap(-1, 1 << 16)); kept[-1].write(bytes([1]) * (1 << 16))",
        "import mmap\nkept = []\n",
    )
    soaked = soak(wall_of(), scene, 480)
    # 5 minutes of 300 pictures lie between the early looks and the last: 93.75 MiB.
    assert whats(soaked) == ["the memory grows"]
    assert soaked.late_bytes - soaked.early_bytes > 80 << 20


def test_a_scene_that_is_slow_on_its_own_clock_is_found(scene_of):
    soaked = soak(wall_of(), scene_of("time.sleep(0.3)"), 60)
    assert whats(soaked) == ["pictures came too late"]
    assert late_alone(soaked) == pytest.approx(60 * 5 / 2, abs=2)  # every other one
    assert soaked.drift_ns == 0


def test_a_scene_that_raises_by_itself_is_found_with_its_time(scene_of):
    scene = scene_of("if 100 < time_s < 100.3: raise ValueError('the seventh lamp')")
    soaked = soak(wall_of(), scene, 150, [Planned(20, FAULTS["scene-raises"]())])
    findings = findings_of(soaked)
    assert [finding.where for finding in findings] == ["0:01:40 into the show"]
    assert "the seventh lamp" in findings[0].evidence
    assert len(soaked.outcomes) == 1
    assert soaked.restarts == 2


def test_a_scene_that_draws_more_slowly_than_the_frames_come_is_found(scene_of):
    # CPU time is the machine's own, and grows by no more than is used: however busy the machine is,
    # this scene takes 15 ms, and 100 frames/s leave 10 ms.
    scene = scene_of("end_s = time.thread_time() + 0.015\nwhile time.thread_time() < end_s: pass")
    soaked = soak(wall_of(100), scene, 0.2)
    assert whats(soaked) == ["the scene draws too slowly"]
    assert soaked.slow == soaked.drawn > 15
    assert soaked.slowest_s >= 0.015


def test_the_first_picture_of_a_scene_and_one_that_fails_count_for_no_drawing():
    spent_ns = iter((0, 10, 10, 31, 31))
    drawing = Drawing(20, lambda: next(spent_ns))
    display, clock = wall_of(), SimulatedClock()

    def picture(time_s):
        if time_s == 3:
            raise SourceError("the lens cap is on")
        return np.zeros(display.picture_shape)

    player = SimulatedPlayer(picture, display, clock, SceneClock(), drawing)
    for time_s in range(4):
        player.ask(time_s)
    assert (drawing.drawn, drawing.slow, drawing.most_ns) == (2, 1, 21)


def test_one_slow_picture_in_a_thousand_is_no_finding():
    soaked = soak(wall_of(), "chase", 1)
    for slow, found in ((1, []), (2, ["the scene draws too slowly"])):
        assert whats(dataclasses.replace(soaked, drawn=1000, slow=slow)) == found


def test_a_last_frame_off_its_time_is_found():
    soaked = soak(wall_of(), "chase", 1)
    assert soaked.drift_ns == 0
    for drift_ns in (1000, -1):
        off = dataclasses.replace(soaked, drift_ns=drift_ns)
        assert whats(off) == ["the frames drift"]
        assert f"{drift_ns} ns" in findings_of(off)[0].evidence


def test_what_a_scene_prints_does_not_get_into_the_json(foreglow, scene_of, tmp_path):
    scene = scene_of("print('the seventh lamp')")
    (tmp_path / "wall.toml").write_text(WALL.format(rate=5))
    status, out, err = foreglow(
        "soak", "wall.toml", scene, "--hours", "0.001", "--fault", "none", "--json"
    )
    assert status == 0
    assert json.loads(out)["passed"]
    assert "the seventh lamp" in err


@pytest.mark.slow
def test_more_frames_than_the_wire_carries_are_found():
    # 8 LEDs take 0.29 ms (WS2812B datasheet, as above): 3448 frames/s at most.
    soaked = soak(wall_of(5000), "chase", 1)
    assert whats(soaked) == ["the frame rate asked for is not possible"]
    assert soaked.had == 3448.2
    assert (soaked.over_period, soaked.early, soaked.unsent) == (0, 0, 0)
    assert soaked.lowest_v is None


@pytest.mark.slow
def test_frames_too_long_or_too_early_are_found(monkeypatch):
    # Against what the loop does by itself: 250 µs a frame, where the wire takes 240 (WS2812B
    # datasheet, as above) and the reset 50 more; then without waiting for the reset.
    monkeypatch.setattr(Pace, "of", lambda *_: Pace(4000))
    soaked = soak(wall_of(4000), "chase", 0.5)
    assert "frames take longer on the wire than a period" in whats(soaked)
    assert soaked.over_period == soaked.frames
    assert soaked.early == 0
    monkeypatch.setattr(RigOutput, "send", lambda self, picture: self.bench.send(picture, 0))
    soaked = soak(wall_of(4000), "chase", 0.5)
    assert "frames came before the reset time of the one before had passed" in whats(soaked)
    assert soaked.early == soaked.frames - 1 == 1999


def test_the_scene_s_own_clocks_follow_the_show(scene_of, tmp_path):
    # The reading of time.monotonic at each picture, against the show's time.
    log = tmp_path / "times"
    scene = scene_of(
        "with log.open('a') as file: print(time_s, time.monotonic(), time.time(), file=file)",
        f"log = pathlib.Path({str(log)!r})\n",
    )
    before = time.monotonic()
    soak(wall_of(), scene, 20)
    assert time.monotonic() >= before  # given back
    asked_s, told_s, day_s = np.loadtxt(log).T
    # Asked for one frame ahead.
    assert asked_s[1:] - told_s[1:] == pytest.approx(PERIOD_S)
    assert np.diff(day_s) == pytest.approx(np.diff(told_s), abs=1e-6)


def test_a_simulated_player_answers_when_its_own_clock_says_so():
    display, clock, own = wall_of(), SimulatedClock(), SceneClock()

    def picture(time_s):
        time.sleep(2)
        return np.ones(display.picture_shape)

    player = SimulatedPlayer(picture, display, clock, own, Drawing(1e9))
    with MachineTime(own):
        clock.wait_until(10**9)
        player.ask(1.0)
        assert clock.now_ns() == 10**9
        clock.wait_until(3 * 10**9 - 1)
        assert player.take() is None
        clock.wait_until(3 * 10**9)
        assert player.take().shape == (2, 4, 3)
        assert player.take() is None


def test_a_drawing_into_the_same_array_is_not_seen_in_the_picture_before():
    display, clock = wall_of(), SimulatedClock()
    canvas = np.zeros(display.picture_shape, np.uint8)

    def picture(time_s):
        canvas[:] = round(time_s)
        return canvas

    player = SimulatedPlayer(picture, display, clock, SceneClock(), Drawing(1e9))
    player.ask(1)
    first = player.take()
    player.ask(2)
    assert first.max() == 1


def test_a_scene_that_raises_when_it_is_closed_is_found(scene_of):
    before = (
        "class Source:\n"
        "    def __call__(self, time_s, display):\n        return np.zeros(display.picture_shape)\n"
        "    def close(self):\n        raise OSError('stuck')\n"
    )
    name = scene_of("pass", before)
    Path(name).write_text(Path(name).read_text() + "picture = Source()\n")
    soaked = soak(wall_of(), name, 10)
    assert whats(soaked) == ["the show had trouble without an injected fault"]
    assert "stuck" in soaked.troubles[0][1]


def test_memory_is_judged_by_its_ends():
    mib = 1 << 20
    for looks, growth in [
        ([100] * 60, 0),
        ([60, 100, *[100] * 30, 300, *[100] * 30], 0),  # held for a while and given back
        ([100] * 40 + [120] * 20, 20),
        (list(range(100, 160)), 57),  # 102 at most in the first three, 159 at the end
        ([100], 0),
    ]:
        left = iter(looks)
        watch = MemoryWatch(lambda left=left: next(left) * mib)
        for minute in range(1, len(looks) + 1):
            assert watch.take(minute * 60 * 10**9)
            assert not watch.take(minute * 60 * 10**9 + 1)
        assert watch.growth == growth * mib, looks
    assert mib * 8 == MOST_GROWTH  # as the report says


def test_resident_memory_is_what_the_kernel_says():
    # proc(5): VmRSS of /proc/self/status, in KiB; statm and it may differ by a few pages.
    status = Path("/proc/self/status").read_text()
    kib = int(status.partition("VmRSS:")[2].split()[0])
    assert resident_bytes() == pytest.approx(kib * 1024, rel=0.05)


class Nothing:
    restarts = 0


def test_faults_too_close_are_refused():
    planned = [Planned(100, ShowFault()), Planned(100 + APART_S - 1, ShowFault())]
    with pytest.raises(ValueError, match="apart"):
        Injection(planned, None, Nothing(), None)


def test_a_fault_is_over_once_the_scene_has_been_steady(scene_of):
    # Two short returns do not count as a return: the camera has a loose contact.
    class Loose(ShowFault):
        name, what, lasts_s = "loose", "a loose contact", 10.0

        def picture(self, draw, time_s, rig):
            if round(time_s * 5) % 4:
                raise SourceError("loose")
            return draw(time_s)

    soaked = soak(wall_of(), scene_of(""), 60, [Planned(20, Loose())])
    assert soaked.outcomes[0].back_s == pytest.approx(10, abs=4 * PERIOD_S)
    assert soaked.outcomes[0].shown["held"] == pytest.approx(10 * 3 / 4, abs=1)


def test_what_is_left_at_the_end_is_a_finding(scene_of):
    planned = [Planned(10, FAULTS["port-lost"]()), Planned(500, FAULTS["clock-back"]())]
    soaked = soak(wall_of(), scene_of(""), 20, planned)
    assert [one.back_s for one in soaked.outcomes] == [None, None]
    assert "the wall was not dark at the end" in whats(soaked)
    assert "the show ended before the fault came" in soaked.outcomes[1].findings
    # It has no place in the chart: Matplotlib would warn, and a warning is an error here.
    assert soak_plot(wall_of(), soaked).startswith(b"\x89PNG")


def test_the_slots_carry_no_dictionary():
    assert not hasattr(Slot(0, 0, 0, "dark", False, None), "__dict__")


def test_the_command_reports_and_judges(foreglow, tmp_path):
    (tmp_path / "wall.toml").write_text(WALL.format(rate=2))
    status, out, _ = foreglow("soak", "wall.toml", "chase", "--hours", "0.2")
    assert status == 0, out
    for words in ("0:12:00", "scene-hangs", "The show went on."):
        assert words in out
    with Image.open(tmp_path / "foreglow-out" / "wall-soak.png") as chart:
        assert chart.size == (1200, 540)
    words = ("--hours", "0.1", "--fault", "port-lost@2min", "--json", "--plot", "c.svg")
    status, out, _ = foreglow("soak", "wall.toml", "chase", *words)
    told = json.loads(out)
    assert (status, told["passed"], told["findings"]) == (0, True, [])
    assert [one["at_s"] for one in told["outcomes"]] == [pytest.approx(120, abs=0.5)]
    assert (tmp_path / "c.svg").read_text().startswith("<?xml")


@pytest.mark.slow
def test_the_command_ends_with_1_for_findings_and_2_for_bad_input(foreglow, tmp_path):
    (tmp_path / "wall.toml").write_text(WALL.format(rate=5000))
    words = ("soak", "wall.toml", "chase", "--hours", "0.001", "--fault", "none")
    status, out, _ = foreglow(*words)
    assert status == 1
    assert "the frame rate asked for is not possible" in out
    for more, told in [
        (("--hours", "0.01"), "before the next fault"),
        (("--hours", "0.02", "--fault", "camera-lost@3min"), "or the end"),
        (("--fault", "port-lots"), "port-lost"),
        (("--fault", "port-lost@noon"), "noon"),
        (("--plot", "chart.pdf"), ".svg"),
        (("--otherwise", "clok"), "clock"),
    ]:
        status, _, err = foreglow("soak", "foyer", "clock", *more)
        assert status == 2, more
        assert told in err, more


@pytest.mark.slow
def test_half_an_hour_of_the_foyer_with_all_faults():
    foyer = load_display("foyer")
    # A frame costs the same at any rate, and faults come by the time: a third of the foyer's 30.
    controller = foyer.controller.model_copy(update={"frame_rate": 10.0})
    foyer = dataclasses.replace(foyer, controller=controller)
    soaked = soak(foyer, "clock", 1800, all_faults(1800))
    assert findings_of(soaked) == []
    assert soaked.frames + soaked.unsent == 18_000
    assert len(soaked.outcomes) == len(FAULTS)
