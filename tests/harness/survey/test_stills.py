"""Which files of a folder are stills, and in which order: by Exif times, by names, by a counter."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from emulator.errors import SourceError
from harness.survey.footage import footage
from harness.survey.stills import stills_of


def write(path: Path, taken: str = "", share: str = "", offset: str = "", orientation: int = 1):
    """A small still, whose left half is lit. Exif 2.32, from memory: 36867 time of taking, 37521
    its share of a second, 36881 its offset, 274 orientation."""
    path.parent.mkdir(exist_ok=True)
    exif = Image.Exif()
    exif[274] = orientation
    photo = exif.get_ifd(34665)
    photo |= {k: v for k, v in ((36867, taken), (37521, share), (36881, offset)) if v}
    picture = np.zeros((4, 6, 3), dtype=np.uint8)
    picture[:, :3] = 200
    Image.fromarray(picture).save(path, exif=exif)


def names(folder: Path) -> list[str]:
    return [path.name for path in stills_of(folder)]


DAY = "2026:05:14 20:31:"


@pytest.mark.parametrize(
    "files",
    [
        # As they were taken: name, seconds, share of a second, offset.
        [("c.jpg", "07", "2", ""), ("a.jpg", "07", "45", ""), ("b.jpg", "08", "", "")],
        [("b2.jpg", "07", "", ""), ("b10.jpg", "07", "", ""), ("a.jpg", "08", "", "")],
        [("z.jpg", "09", "", "+01:00"), ("y.jpg", "08", "", "+00:00")],
        [("IMG_9999.jpg", "07", "", ""), ("IMG_0001.jpg", "08", "", "")],
        # The clock is set back once, while the names go on; it is not where they do not.
        [("7.jpg", "30", "", ""), ("8.jpg", "31", "", ""), ("9.jpg", "01", "", "")],
        [("9.jpg", "01", "", ""), ("5.jpg", "30", "", ""), ("6.jpg", "31", "", "")],
        # Without times, or one time missing: names alone.
        [("IMG_9.jpg", "", "", ""), ("IMG_10.jpg", "", "", ""), ("IMG_100.jpg", "", "", "")],
        [("1.jpg", "09", "", ""), ("2.jpg", "", "", ""), ("3.jpg", "01", "", "")],
        [("IMG_9998.jpg",), ("IMG_9999.jpg",), ("IMG_0001.jpg",), ("IMG_0003.jpg",)],
        [("IMG_0001.jpg",), ("IMG_0300.jpg",)],
    ],
)  # fmt: skip
def test_stills_come_as_they_were_taken(tmp_path, files):
    for name, *when in reversed(files):
        second, share, offset = when or ("", "", "")
        write(tmp_path / name, DAY + second if second else "", share, offset)
    assert names(tmp_path) == [file[0] for file in files]


def test_what_is_no_still_is_left_out_with_one_remark(tmp_path, caplog):
    for name in ("3.jpg", "2.jpg", "1.PNG", "2.tif"):
        write(tmp_path / name)
    Image.new("RGB", (9, 9)).save(tmp_path / "scan.png")
    for name in ("2.DNG", "Thumbs.db", ".DS_Store", "._2.jpg", "film.mp4", "2.xmp"):
        (tmp_path / name).write_text("something else")
    assert names(tmp_path) == ["1.PNG", "2.jpg", "3.jpg"]
    (remark,) = caplog.messages
    assert "6 other files are left out" in remark
    assert "DS_Store" not in remark


def test_stills_of_subfolders_are_taken_in_their_order(tmp_path):
    for name in ("100CAM/IMG_9999.jpg", "101CAM/IMG_0001.jpg", "101CAM/IMG_0002.jpg"):
        write(tmp_path / name)
    assert names(tmp_path) == ["IMG_9999.jpg", "IMG_0001.jpg", "IMG_0002.jpg"]


@pytest.mark.parametrize("name", ["IMG_2.HEIC", "IMG_2.jpg", "IMG_2.NEF"])
def test_stills_of_other_kinds_are_refused_unless_they_have_twins(tmp_path, name):
    write(tmp_path / "IMG_1.jpg")
    (tmp_path / name).write_bytes(b"\0\0\0\x24ftypheic\0\0\0\0")
    with pytest.raises(SourceError, match="convert them to JPEG") as refused:
        stills_of(tmp_path)
    assert name in str(refused.value)
    assert ("NEF" if "NEF" in name else "HEIC") in str(refused.value)
    if name != "IMG_2.jpg":
        write(tmp_path / "IMG_2.jpg")
        assert names(tmp_path) == ["IMG_1.jpg", "IMG_2.jpg"]


@pytest.mark.parametrize(
    ("orientation", "lit"), [(1, "left"), (3, "right"), (6, "top"), (8, "bottom")]
)
def test_stills_are_turned_once_as_exif_says(tmp_path, orientation, lit):
    """Exif 2.32, from memory: 6 is turned by 90° clockwise, so that its left is at the top."""
    write(tmp_path / "1.jpg", orientation=orientation)
    (frame,) = footage(tmp_path).frames()
    means = {
        "left": frame.luma[:, :2].mean(),
        "right": frame.luma[:, -2:].mean(),
        "top": frame.luma[:2].mean(),
        "bottom": frame.luma[-2:].mean(),
    }
    assert max(means, key=means.__getitem__) == lit
    assert frame.luma.shape == frame.rgb().shape[:2]
