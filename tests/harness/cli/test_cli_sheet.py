"""`foreglow sheet`, as you use it."""

import sys
from pathlib import Path
from xml.etree import ElementTree

import pytest

WALL = "[grid]\ncolumns=4\nrows=2\n[chip]\npart='WS2812B'\n[wiring]\n"


@pytest.fixture
def wall(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    Path("wall.toml").write_text(WALL)


@pytest.mark.usefixtures("wall")
def test_a_pdf_and_a_second_one_over_it(foreglow):
    pytest.importorskip("reportlab")
    for paper in ("A4", "letter"):
        status, out, _ = foreglow("sheet", "wall", "-o", "wall.pdf", "--paper", paper)
        assert status == 0, out
        assert f"pages, {paper.title() if paper == 'letter' else 'A4'}" in out
    assert Path("wall.pdf").read_bytes().startswith(b"%PDF")


@pytest.mark.usefixtures("wall")
def test_svg_needs_no_reportlab_and_a_pdf_says_what_to_install(foreglow, monkeypatch):
    for name in [*sys.modules]:
        if name.startswith("reportlab"):
            monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, "reportlab", None)
    status, _, err = foreglow("sheet", "wall", "-o", "wall.pdf")
    assert status == 2
    assert "pip install 'foreglow[sheet]'" in err
    assert not Path("wall.pdf").exists()
    status, out, _ = foreglow("sheet", "wall", "-o", "wall.svg", "--no-template")
    pages = sorted(Path().glob("wall-*.svg"))
    assert (status, f"{len(pages)} pages" in out) == (0, True)
    for page in pages:
        assert ElementTree.parse(page).getroot().get("width") in ("210mm", "297mm")


@pytest.mark.usefixtures("wall")
def test_prices_are_added_up(foreglow):
    # 8 LEDs from one reel of 12.50, one supply of 20.
    Path("my.toml").write_text("reel = 12.5\nsupply = 20\n")
    options = ("sheet", "wall", "-o", "wall.svg", "--no-template", "--prices", "my.toml")
    assert foreglow(*options)[0] == 0
    assert "Prices together: 32.50." in "".join(p.read_text() for p in Path().glob("wall-*.svg"))


@pytest.mark.usefixtures("wall")
@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("reals = 12.5\n", "'reals' = 12.5 is not a price"),
        ("reel = 'dear'\n", "'reel' = 'dear' is not a price"),
        ("reel =\n", "cannot be read"),
        (None, "cannot be read"),
    ],
)
def test_prices_that_make_no_sense_are_refused(foreglow, text, words):
    if text is not None:
        Path("my.toml").write_text(text)
    status, _, err = foreglow("sheet", "wall", "-o", "wall.pdf", "--prices", "my.toml")
    assert status == 2
    assert words in err
    assert "my.toml" in err
    assert "Fix:" in err
    assert not Path("wall.pdf").exists()


@pytest.mark.usefixtures("wall")
def test_another_ending_is_refused_and_a_file_of_yours_stays(foreglow):
    assert foreglow("sheet", "wall", "-o", "wall.docx")[0] == 2
    Path("wall.pdf").write_text("mine")
    status, _, err = foreglow("sheet", "wall", "-o", "wall.pdf")
    assert status == 2
    assert "wall.pdf" in err
    assert Path("wall.pdf").read_text() == "mine"
