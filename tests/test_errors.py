"""Every error has parts: what is wrong, where, and how to fix it."""

from __future__ import annotations

import pytest

from emulator import (
    DisplayFileError,
    ForeglowError,
    SceneError,
    UnknownNameError,
    chip,
    errors,
    parse_display,
)
from emulator.errors import Problem, SourceError, SubjectError, fitted, laid_out, of_extra
from harness.report.terminal import complain

KINDS = [k for k in vars(errors).values() if isinstance(k, type) and issubclass(k, ForeglowError)]
PLAIN = [k for k in KINDS if k.__init__ is ForeglowError.__init__]


@pytest.mark.parametrize("kind", [*PLAIN, SceneError])
def test_the_message_is_made_of_the_parts(kind):
    error = kind("no light", place="wall.toml, line 3", fix="switch it on.")
    assert (error.problem, error.place, error.fix) == (
        "no light", "wall.toml, line 3", "switch it on.",
    )  # fmt: skip
    assert str(error) == "wall.toml, line 3: no light\n  Fix: switch it on."
    assert error.what == "wall.toml, line 3: no light"
    assert str(kind("no light")) == "no light"
    assert str(SubjectError.of(error)) == str(error)


def test_in_a_narrow_terminal_a_fix_hangs_and_words_stay_whole():
    problem = Problem("'feds' is not a known key", fix="write feeds, or supply_v.", line=7,
                      excerpt="feds = 3  # as in the drawing of the wall")  # fmt: skip
    message = problem.describe("a/long/path/to/the/display/wall.toml")
    assert fitted(message, 24).splitlines() == [
        "a/long/path/to/the/display/wall.toml,",
        "    line 7: 'feds' is",
        "    not a known key",
        "    feds = 3  # as in the drawing of the wall",
        "  Fix: write feeds, or",
        "       supply_v.",
    ]
    assert fitted(message, 200) == message


@pytest.mark.parametrize("is_terminal", [False, True])
def test_only_a_terminal_gets_a_fitted_message(monkeypatch, capsys, is_terminal):
    monkeypatch.setenv("COLUMNS", "40")
    monkeypatch.setattr("sys.stderr.isatty", lambda: is_terminal)
    message = str(ForeglowError("no light", fix="switch it on, and wait until it is warm."))
    complain(message)
    said = capsys.readouterr().err
    assert said == f"{fitted(message, 40) if is_terminal else message}\n"
    assert said.count("\n") == 2 + is_terminal


def test_parts_are_made_harmless_as_the_message_is():
    error = ForeglowError("\x1b[2J", place="a\x1b]0;x\x07", fix="\x9b31m")
    for part in (error.problem, error.place, error.fix, str(error), error.what):
        assert part.isprintable() or "\n" in part
        assert "\x1b" not in part
        assert "\x9b" not in part


def test_the_first_of_several_faults_gives_the_parts():
    text = '[display]\nname = 3\n\n[grid]\ncolumns = "two"\n'
    with pytest.raises(DisplayFileError) as caught:
        parse_display(text, "wall.toml")
    error = caught.value
    first = error.problems[0]
    assert len(error.problems) > 1
    assert error.place == f"wall.toml, line {first.line}"
    assert error.fix == first.fix
    assert str(error).count("\n  Fix: ") == len(error.problems)
    assert str(error).startswith(laid_out(error.problem, error.place, error.fix))


def test_an_unknown_name_lists_what_there_is_as_its_fix():
    with pytest.raises(UnknownNameError) as caught:
        chip("WS2821B")
    assert "WS2821B" in caught.value.problem
    assert "WS2812B" in caught.value.fix


def test_a_library_of_an_extra_that_is_missing_names_the_extra():
    with (
        pytest.raises(SourceError) as caught,
        of_extra("video", "video needs PyAV", kind=SourceError, place="a.mp4", instead="a .gif"),
    ):
        import no_such_library_of_anybody  # type: ignore[import-not-found]  # noqa: F401
    assert str(caught.value) == (
        "a.mp4: video needs PyAV\n  Fix: pip install 'foreglow[video]', or a .gif."
    )
    with of_extra("video", "video needs PyAV"):
        pass
