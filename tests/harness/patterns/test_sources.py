from __future__ import annotations

import numpy as np
import pytest
from PIL import Image

from emulator import Bench, UnknownNameError, load_display
from emulator.errors import RecordingError, SceneError, SourceError
from emulator.picture.source import light_of
from emulator.recording.disk import DiskRecorder
from harness.patterns.pattern import PATTERNS
from harness.patterns.showing import show_for
from harness.patterns.sources import all_sources, example_picture, named_source
from scenes import SCENES
from tests.picture.media import wall, write_clip

RED = np.full((16, 16, 3), (255, 0, 0), dtype=np.uint8)


@pytest.fixture
def display():
    return wall(4, 3)


def test_every_scene_and_pattern_may_be_named_with_and_without_its_kind():
    display = load_display("sign")
    sources = all_sources(display)
    assert not set(SCENES) & set(PATTERNS)
    kinds = dict.fromkeys(SCENES, "scene") | dict.fromkeys(PATTERNS, "pattern")
    for name, kind in kinds.items():
        shown = [
            np.asarray(s(2.5)) for s in (named_source(name, display), sources[f"{kind} {name}"])
        ]
        assert (shown[0] == shown[1]).all()
        assert shown[0].shape == display.picture_shape


@pytest.mark.parametrize(("columns", "rows"), [(1, 1), (60, 1), (8, 4), (4, 30)])
def test_the_demo_scenes_show_on_any_wall(columns, rows):
    display = wall(columns, rows)
    for name in SCENES:
        source = named_source(name, display)
        for time_s in np.arange(0, 60, 2.5):
            assert source(time_s).shape == display.picture_shape, name


def test_the_demo_scenes_repeat_exactly():
    display = load_display("sign")
    for name in SCENES:
        source = named_source(name, display)
        first = np.array(source(3.7))
        source(90.0)
        assert (source(3.7) == first).all(), name


def test_a_path_ending_in_py_is_a_scene(tmp_path, display):
    path = tmp_path / "mine.py"
    path.write_text("def picture(time_s, display):\n    return 1 / 0\n")
    source = named_source(str(path), display)
    with pytest.raises(SceneError, match="ZeroDivisionError"):
        source(0)
    path.write_text(
        "import numpy as np\n"
        "def picture(time_s, display):\n"
        "    return np.full(display.picture_shape, time_s)\n"
    )
    assert (source(0.5) == 0.5).all()
    source.close()


def test_a_picture_a_clip_and_a_folder_are_shown(tmp_path, display):
    Image.fromarray(RED).save(tmp_path / "logo.png")
    Image.fromarray(RED).save(
        tmp_path / "a.gif",
        save_all=True,
        append_images=[Image.fromarray(RED[..., ::-1])],
        duration=500,
    )
    film = write_clip(tmp_path / "a.mkv", np.stack([RED, RED[..., ::-1]]), 2, "ffv1")
    (tmp_path / "stills").mkdir()
    Image.fromarray(RED).save(tmp_path / "stills" / "a.png")
    for path in (tmp_path / "logo.png", tmp_path / "stills", tmp_path / "a.gif", film):
        with named_source(str(path), display) as source:
            assert (source(0.25) == (1, 0, 0)).all(), path
            moves = path.suffix in (".gif", ".mkv")
            assert (source(0.75) == ((0, 0, 1) if moves else (1, 0, 0))).all(), path


def test_a_recording_is_shown_again_at_its_own_times(tmp_path, display):
    frames = {0.0: (255, 0, 0), 0.5: (0, 255, 0), 1.0: (0, 0, 255)}

    def shown(time_s):
        colour = frames[max(t for t in frames if t <= time_s + 1e-9)]
        return np.full(display.picture_shape, colour, dtype=np.uint8)

    with DiskRecorder(tmp_path / "rec", display) as recorder:
        bench = Bench(display)
        bench.recorder = recorder
        for _ in show_for(bench, shown, 1.5):
            pass
    with named_source(str(tmp_path / "rec"), display) as source:
        for time_s in (0.2, 0.7, 1.2):
            assert (source(time_s) == light_of(shown(time_s))).all()
        with pytest.raises(RecordingError, match="not the display"):
            named_source(str(tmp_path / "rec"), wall(9, 9))(0)


def test_names_of_nothing_are_told_with_those_there_are(tmp_path, display):
    with pytest.raises(UnknownNameError, match="did you mean 'aurora'"):
        named_source("auroa", display)
    with pytest.raises(UnknownNameError, match="scene, pattern or file"):
        named_source("none.png", display)
    with pytest.raises(SceneError, match="there is no scene"):
        named_source(str(tmp_path / "none.py"), display)(0)
    (tmp_path / "a.txt").write_text("no film")
    with pytest.raises(SourceError, match="cannot be played"):
        named_source(str(tmp_path / "a.txt"), display)


def test_the_example_picture_has_letters_in_code_values():
    for name in ("foyer", "banner", "sign"):
        picture = example_picture(load_display(name))
        assert picture.dtype == np.uint8
        # (255, 214, 150) is the programme's ink
        assert (picture == (255, 214, 150)).all(axis=-1).any()


def test_the_example_picture_of_a_wall_too_low_for_letters_is_no_mirror_image_of_itself():
    picture = example_picture(wall(6, 4))
    for other in (picture[::-1], picture[:, ::-1], picture[::-1, ::-1]):
        assert (picture != other).any()


def test_the_command_shows_what_a_path_names(foreglow, tmp_path):
    Image.fromarray(RED).save(tmp_path / "logo.png")
    status, out, _ = foreglow("render", "sign", "logo.png", "-o", "wall.png")
    assert (status, "scene logo.png" in out) == (0, True)
    with Image.open("wall.png") as image:
        red, green, blue = np.asarray(image, dtype=float).mean(axis=(0, 1))
    assert red > 4 * max(green, blue, 1)  # drawn in the colour of the red LEDs
    status, _, err = foreglow("render", "sign", "none.png")
    assert status == 2
    assert "no scene, pattern or file is called 'none.png'" in err
