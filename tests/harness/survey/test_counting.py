"""Which picture each still shows: of a small wall, drawn, whose camera moves."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from harness.patterns.film import film_steps, film_words
from harness.survey.counting import counted, likeness

ROWS, COLUMNS, PX = 6, 10, 4  # cells, and pixels of a cell
STEPS = film_steps(ROWS * COLUMNS)
EVERY = list(range(len(STEPS)))
CODE = next(n for n, step in enumerate(STEPS) if step.bit >= 0)
COLOURS = [n for n, step in enumerate(STEPS) if step.shows in ("red", "green", "blue")]
TINTS = {"red": (0.8, 0.15, 0.05), "green": (0.2, 0.6, 0.2), "blue": (0.1, 0.2, 0.7)}
WALL = np.zeros((60, 80), dtype=bool)
WALL[18:42, 20:60] = True


def still(step, rng):
    """(60, 80) a thumbnail of it: the wall, in the middle, moved by some pixels, and noise."""
    words = film_words(ROWS * COLUMNS)
    shown = STEPS[step]
    lit = {
        "dark": np.zeros(len(words)),
        "bit": words[:, shown.bit],
        "inverse": ~words[:, shown.bit],
    }
    cells = lit.get(shown.shows, np.ones(len(words))).reshape(ROWS, COLUMNS).astype(np.float32)
    one = np.zeros((PX, PX))
    one[1:3, 1:3] = 200
    picture = rng.normal(20, 2, WALL.shape)
    picture[18:42, 20:60] += np.kron(cells, one)
    return np.roll(picture, rng.integers(-3, 4, 2), (0, 1)).astype(np.float32)


@cache
def all_stills(seed):
    rng = np.random.default_rng(seed)
    return np.array([still(step, rng) for step in EVERY + EVERY])


def count(order, blurred=()):
    """The steps and passes that are found in stills of these steps, each one of its own."""
    seen, which = set(), []
    for step in order:
        which.append(step + len(STEPS) * (step in seen))
        seen.add(step)
    smalls = all_stills(1)[which].copy()
    smalls[list(blurred)] = smalls.mean()
    shows = [STEPS[step] for step in order]
    light = np.array([step.lit for step in shows]) + np.random.default_rng(2).normal(
        0, 0.02, len(order)
    )
    tint = np.array([TINTS.get(step.shows, (step.lit,) * 3) for step in shows])
    return counted(light, tint, likeness(smalls, WALL), STEPS)


def shown(step):
    return None if step < 0 else STEPS[step]


@pytest.mark.parametrize(
    "order",
    [
        EVERY,
        [n for n in EVERY if n != CODE + 9],
        [n for n in EVERY if n not in (CODE + 8, CODE + 31)],
        sorted([*EVERY, CODE + 9]),
        sorted([*EVERY, 3]),
        [n for n in EVERY if n != 4],
        EVERY[:-20],
        EVERY + EVERY,
        EVERY[CODE + 20 :] + EVERY,
    ],
    ids=["whole", "an inverse missing", "two missing", "bit twice", "on twice", "marker", "cut",
         "two passes", "begun late"],
)  # fmt: skip
def test_stills_are_counted_though_one_is_missing_or_twice(order):
    step, turn = count(order)
    off = [n for n, one in enumerate(order) if shown(step[n]) != shown(one)]
    # Of a pair that is not whole, nobody can say which still it is; it is not used.
    for n in off:
        whole = turn == turn[n]
        pair = {one for one in order[:n] + order[n + 1 :] if STEPS[one].bit == STEPS[order[n]].bit}
        assert order[n] >= CODE
        assert turn[n] < 0 or not pair & set(np.array(order)[whole].tolist()) - {order[n]}
    assert len(off) <= (len(order) - len(EVERY) if order[0] > CODE else 2)
    assert set(turn.tolist()) - {-1} == set(range(turn.max() + 1))


def test_dark_and_blurred_stills_do_not_matter():
    order = [0, *EVERY, EVERY[-1]]
    step, _ = count(order, blurred=[CODE + 12])
    assert [STEPS[n].shows for n in step[CODE + 2 : -5]] == [
        STEPS[n].shows for n in EVERY[CODE + 1 : -4]
    ]


@pytest.mark.parametrize("lost", [0, 2, 5])
def test_colours_are_left_out_if_one_is_missing(lost):
    order = [n for n in EVERY if n != COLOURS[lost]]
    step, _ = count(order)
    assert not set(COLOURS) & set(step.tolist())
    assert list(step[: COLOURS[0]]) == EVERY[: COLOURS[0]]


def test_what_does_not_blink_in_pairs_is_not_counted():
    order = np.random.default_rng(3).permutation(EVERY).tolist()
    assert count(order) is None
