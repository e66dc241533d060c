"""The reader of devices, with a device that returns frames on request."""

from __future__ import annotations

import contextlib
import queue
import threading

import numpy as np
import pytest

from emulator.errors import SourceError
from emulator.picture.live import LiveFrames

PATIENT_S = 20  # for threads of a busy machine; nothing here waits so long when it works


def frame(level):
    return np.full((2, 2, 3), level, dtype=np.uint8)


class Told:
    """A device that gives what is put into it: frames, or an error to raise."""

    def __init__(self):
        self.coming = queue.Queue()
        self.taken = threading.Semaphore(0)
        self.closed = threading.Event()

    def read(self):
        self.taken.release()  # whatever was read before has been taken in by now
        try:
            item = self.coming.get(timeout=0.01)
        except queue.Empty:
            return None
        if isinstance(item, Exception):
            raise item
        return item

    def close(self):
        self.closed.set()

    def give(self, *items):
        """Put items in and wait until they have been taken in."""
        for item in items:
            self.coming.put(item)
        while not self.coming.empty():
            assert self.taken.acquire(timeout=PATIENT_S)
        for _ in range(2):  # the read that emptied it has ended when two more have begun
            while self.taken.acquire(blocking=False):
                pass
            assert self.taken.acquire(timeout=PATIENT_S)


class Shelf:
    """Opens one device after the other; refuses while `refused`."""

    def __init__(self):
        self.devices, self.refused, self.asked = [], False, 0
        self.opened, self.answer = threading.Semaphore(0), threading.Semaphore(0)

    def __call__(self):
        self.asked += 1
        try:
            if self.refused:
                assert self.answer.acquire(timeout=PATIENT_S)
                raise SourceError("nobody there\n  Fix: plug it in.")
            self.devices.append(Told())
            return self.devices[-1]
        finally:
            self.opened.release()

    def next(self):
        assert self.opened.acquire(timeout=PATIENT_S)
        return self.devices[-1] if self.devices else None


@pytest.fixture
def shelf():
    return Shelf()


@pytest.fixture
def frames(shelf):
    with LiveFrames(shelf, "the lamp", patience_s=3, retry_s=1, most_s=4) as frames:
        yield frames


def settle(frames):
    """Wait until the thread of a device that failed has ended."""
    frames._reader.join(PATIENT_S)
    assert not frames._reader.is_alive()


def test_before_the_first_frame_there_is_none_and_nothing_waits(frames, shelf):
    assert frames.at(0) is None
    assert frames.at(2.9) is None
    shelf.next().give(frame(1))
    assert (frames.at(3) == 1).all()


def test_the_newest_frame_wins(frames, shelf):
    frames.at(0)
    device = shelf.next()
    device.give(frame(1), frame(2), frame(3))
    assert (frames.at(0.1) == 3).all()
    assert (frames.at(0.2) == 3).all()
    device.give(frame(4))
    assert (frames.at(0.3) == 4).all()


def test_a_device_that_falls_silent_is_lost_and_comes_back(frames, shelf, caplog):
    frames.at(0)
    first = shelf.next()
    first.give(frame(1))
    assert frames.at(10) is not None
    assert frames.at(13) is not None
    with pytest.raises(SourceError, match="the lamp is lost: no frame for 3 s"):
        frames.at(13.1)
    assert first.closed.wait(PATIENT_S)
    with pytest.raises(SourceError, match="lost"):
        frames.at(14)
    assert shelf.asked == 1
    with pytest.raises(SourceError, match="lost"):
        frames.at(14.2)  # opened again, but no frame yet
    shelf.next().give(frame(2))
    assert (frames.at(14.3) == 2).all()
    assert shelf.asked == 2
    assert [r.levelname for r in caplog.records] == ["WARNING"]


def test_a_device_that_ends_is_lost_at_once(frames, shelf):
    frames.at(0)
    device = shelf.next()
    device.give(frame(1))
    assert frames.at(0.5) is not None
    device.coming.put(SourceError("the lead was pulled"))
    settle(frames)
    with pytest.raises(SourceError, match=r"lead was pulled\n  Fix"):
        frames.at(0.6)
    assert device.closed.is_set()


def test_whatever_a_driver_raises_only_loses_the_device(frames, shelf):
    frames.at(0)
    shelf.next().coming.put(ZeroDivisionError("in the driver"))
    settle(frames)
    with pytest.raises(SourceError, match="in the driver"):
        frames.at(0.6)


def test_a_device_that_is_not_there_is_tried_ever_more_seldom(frames, shelf):
    shelf.refused = True
    tried, reader = [], None
    for tenth in range(200):
        with contextlib.suppress(SourceError):
            frames.at(tenth / 10)
        if frames._reader not in (None, reader):
            reader = frames._reader
            tried.append(tenth / 10)
            shelf.answer.release()
            settle(frames)
    # A tenth of a second later each try is known to have failed; then 1 s, 2 s, 4 s, 4 s … pass.
    assert tried == pytest.approx([0, 1.1, 3.2, 7.3, 11.4, 15.5, 19.6])


def test_a_device_that_came_back_is_tried_soon_again(frames, shelf):
    shelf.refused = True
    for time_s in (0, 0.1, 1.2, 1.3):  # lost twice: the next try is 2 s later
        with contextlib.suppress(SourceError):
            frames.at(time_s)
        if frames._reader is not None:
            shelf.answer.release()
            settle(frames)
    shelf.refused = False
    with pytest.raises(SourceError):
        frames.at(3.4)
    while not shelf.devices:
        shelf.next()
    shelf.devices[-1].give(frame(1))
    assert frames.at(3.5) is not None
    with pytest.raises(SourceError, match="no frame"):
        frames.at(10)
    for time_s in (10.9, 11.1):
        with pytest.raises(SourceError):
            frames.at(time_s)
    shelf.next()  # opened again, 1 s after it was lost
    while len(shelf.devices) < 2:
        shelf.next()


def test_a_show_that_begins_anew_does_not_lose_it(frames, shelf):
    frames.at(1000)
    shelf.next().give(frame(1))
    assert frames.at(1001) is not None
    assert frames.at(0) is not None
    assert frames.at(3) is not None
    with pytest.raises(SourceError):
        frames.at(3.5)


def test_closing_gives_the_device_back(shelf):
    frames = LiveFrames(shelf, "the lamp")
    assert not frames.wait(0)
    device = shelf.next()
    device.give(frame(1))
    assert frames.wait(PATIENT_S)
    frames.close()
    assert device.closed.is_set()
    frames.close()


def test_devices_that_hang_do_not_pile_up_and_are_tried_again_once_they_let_go():
    let_go, opened = threading.Event(), []

    class Hanging:
        def read(self):
            assert let_go.wait(PATIENT_S)

        def close(self):
            pass

    def open_device():
        opened.append(Hanging())
        return opened[-1]

    with LiveFrames(open_device, "the camera", patience_s=1) as frames:
        for time_s in range(0, 36_000, 10):
            with contextlib.suppress(SourceError):
                frames.at(time_s)
        threads = [thread for thread in threading.enumerate() if thread.name == "the camera"]
        assert 0 < len(opened) == len(threads) <= 4
        let_go.set()
        for thread in threads:
            thread.join(PATIENT_S)
        with contextlib.suppress(SourceError):
            frames.at(36_000)  # opens it again, and is lost until a frame has come
        assert any(thread.name == "the camera" for thread in threading.enumerate())
