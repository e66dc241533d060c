"""Cases by number: a wall, what went wrong at the bench, and how it is filmed."""

from dataclasses import dataclass, field, replace

import numpy as np

from tests.outside.generated_survey import built, walls
from tests.outside.generated_survey.lamps import Look
from tests.outside.generated_survey.room import Room
from tests.outside.generated_survey.sensor import Sensor

KINDS = (
    *("plain", "faults", "turned", "codec", "stills", "faults", "late", "twice", "outside"),
    *("bumped", "passer", "window", "mirrored", "faults", "flagged", "hard", "covers"),
    *("hunting", "bands", "unreadable"),
)
UNREADABLE = (
    *("dark", "tiny", "another film", "empty"),
    *("broken", "other wall", "frozen", "one picture"),
)


@dataclass(frozen=True)
class Case:
    """All of one film. `kind` as in KINDS; `unreadable` names what makes it so; `ordinary` films
    must be read in full.

    `from_s` and `until_s` of the pattern are filmed, `passes` times, at `pace` pictures a second;
    `bump_s` is when the camera is moved; `args` go to the command.
    """

    number: int
    kind: str
    wall: walls.Wall
    mistakes: tuple[str, ...]
    frame: tuple[int, int]
    turns: tuple[float, float, float]
    far: float
    fill: float
    look: Look
    sensor: Sensor
    room: Room
    fps: float = 15.0
    steady: bool = True
    codec: str = "h264"
    kbit: int = 3000
    aside: tuple[float, float] = (0.0, 0.0)
    bend: float = 0.0
    from_s: float = -0.8
    until_s: float = 1.0
    passes: int = 1
    bump_s: float | None = None
    mirrored: bool = False
    quarter_turns: int = 0
    unreadable: str = ""
    ordinary: bool = True
    pace: float = 4.0
    args: tuple[str, ...] = field(default=())


def drawn(number: int, kind: str | None = None) -> Case:
    """The case of a number."""
    rng = np.random.default_rng([15, number])
    kind = kind or KINDS[number % len(KINDS)]
    frame = [(480, 360), (640, 480), (1280, 720)][rng.choice(3, p=[0.7, 0.25, 0.05])]
    if rng.random() < 0.25 or kind == "flagged":
        frame = (frame[1], frame[0])
    tilt = rng.uniform(-40, 40, 2) * (1, 0.7)
    mistakes: tuple[str, ...] = ()
    if kind == "faults":
        several = rng.choice(
            [name for name in built.MISTAKES if name != "turned"], rng.integers(1, 3), replace=False
        )
        mistakes = tuple(map(str, several))
    elif kind == "turned":
        mistakes = ("turned",)
    elif rng.random() < 0.4:
        mistakes = (str(rng.choice(["reversed", "dead", "exchanged", "open"])),)
    case = Case(
        number,
        kind,
        walls.drawn(rng, small=frame[0] * frame[1] < 600_000),
        mistakes,
        frame,
        (float(tilt[0]), float(tilt[1]), float(rng.uniform(-6, 6))),
        far=float(rng.uniform(1.3, 3)),
        fill=float(rng.uniform(0.55, 0.85)),
        look=Look(
            str(rng.choice(["disc", "square", "lamp"])), float(rng.uniform(0.12, 0.36)), glare=0.1
        ),
        sensor=Sensor(
            shutter_s=float(rng.choice([1 / 30, 1 / 50, 1 / 100])),
            readout_s=float(rng.uniform(0.005, 0.03)),
            gain=float(rng.uniform(0.4, 1.1)),
            noise=float(rng.uniform(0.004, 0.025)),
            balance=(1.0, float(rng.uniform(0.8, 1)), float(rng.uniform(0.7, 1.1))),
            tone=str(rng.choice(["srgb", "telephone", "2.2", "1.8"])),
            shake=float(rng.choice([0, 0, 1, 2])),
        ),
        room=Room(
            level=float(rng.uniform(0.01, 0.12)),
            board=float(rng.choice([0.1, 0.3, 0.9])),
            lamps=int(rng.integers(0, 3)),
            mains_hz=float(rng.choice([50, 60])),
            ripple=float(rng.choice([0, 0.1, 0.3])),
        ),
        fps=float(rng.choice([12, 15, 15, 15, 24])),
        pace=float(rng.choice([4, 5, 6])),
        from_s=float(rng.uniform(-1.5, -0.2)),
        bend=float(rng.uniform(-0.04, 0.04)),
    )
    return CHANGES.get(kind, lambda case, rng: case)(case, rng)


def small(number: int, kind: str) -> Case:
    """A case that takes few seconds: a small wall in a small film."""
    case = drawn(number, kind)
    wall = replace(case.wall, columns=6, rows=5, gaps=(), lines=1, part="WS2812B")
    return replace(
        case, wall=wall, frame=(320, 240), fps=12.0, pace=5.0, fill=0.8, codec="h264", bend=0.0
    )


def _stills(case: Case, rng: np.random.Generator) -> Case:
    return replace(
        case, codec=str(rng.choice([".jpg", ".png"])), sensor=replace(case.sensor, readout_s=0.005)
    )


def _codec(case: Case, rng: np.random.Generator) -> Case:
    codec = str(rng.choice(["hevc", "mjpeg", "vp9"]))
    steady = codec == "mjpeg" or bool(rng.random() < 0.5)
    return replace(case, codec=codec, steady=steady, fps=float(rng.choice([15, 20])))


def _late(case: Case, rng: np.random.Generator) -> Case:
    if rng.random() < 0.5:
        return replace(case, from_s=float(rng.uniform(2, 12)), ordinary=False)
    return replace(case, until_s=float(rng.uniform(-12, -2)), ordinary=False)


def _twice(case: Case, rng: np.random.Generator) -> Case:
    return replace(case, passes=2, fps=15.0, from_s=-0.5, until_s=0.5)


def _outside(case: Case, rng: np.random.Generator) -> Case:
    x, y = rng.choice([-1, 1], 2) * rng.uniform(0.15, 0.3, 2)
    return replace(case, aside=(float(x), float(y)), ordinary=False)


def _bumped(case: Case, rng: np.random.Generator) -> Case:
    return replace(case, bump_s=float(rng.uniform(5, 16)), fill=min(case.fill, 0.7), ordinary=False)


def _passer(case: Case, rng: np.random.Generator) -> Case:
    start = float(rng.uniform(3, 14))
    return replace(
        case,
        room=replace(case.room, passer=(start, start + float(rng.uniform(2, 5)))),
        ordinary=False,
    )


def _window(case: Case, rng: np.random.Generator) -> Case:
    return replace(
        case, room=replace(case.room, window=float(rng.uniform(0.8, 4))), fill=min(case.fill, 0.65)
    )


def _mirrored(case: Case, rng: np.random.Generator) -> Case:
    return replace(case, mirrored=True, args=("--mirrored",) if rng.random() < 0.6 else ())


def _flagged(case: Case, rng: np.random.Generator) -> Case:
    return replace(case, quarter_turns=int(rng.integers(1, 4)))


def _hard(case: Case, rng: np.random.Generator) -> Case:
    wall = replace(
        walls.drawn(rng), columns=int(rng.integers(24, 41)), rows=int(rng.integers(14, 26)), gaps=()
    )
    return replace(
        case,
        wall=wall,
        frame=(854, 480),
        turns=(float(rng.choice([-1, 1]) * rng.uniform(45, 60)), 10.0, 2.0),
        fill=0.7,
        sensor=replace(case.sensor, gain=2.0),
        kbit=1000,
        ordinary=False,
    )


def _covers(case: Case, rng: np.random.Generator) -> Case:
    look = Look(
        "lamp", float(rng.uniform(0.35, 0.6)), floor=float(rng.uniform(0.02, 0.15)), glare=0.6
    )
    return replace(case, look=look)


def _hunting(case: Case, rng: np.random.Generator) -> Case:
    return replace(case, sensor=replace(case.sensor, hunting=float(rng.uniform(0.3, 0.9))))


def _bands(case: Case, rng: np.random.Generator) -> Case:
    return replace(
        case, sensor=replace(case.sensor, bands=float(rng.uniform(0.2, 0.7)), shutter_s=1 / 240)
    )


def _unreadable(case: Case, rng: np.random.Generator) -> Case:
    why = UNREADABLE[(case.number + case.number // len(KINDS)) % len(UNREADABLE)]
    case = replace(case, unreadable=why, ordinary=False)
    if why == "dark":
        return replace(case, sensor=replace(case.sensor, gain=0.0004, noise=0.02))
    if why == "tiny":
        return replace(case, fill=0.04)
    return case


CHANGES = {
    "stills": _stills,
    "codec": _codec,
    "late": _late,
    "twice": _twice,
    "outside": _outside,
    "bumped": _bumped,
    "passer": _passer,
    "window": _window,
    "mirrored": _mirrored,
    "flagged": _flagged,
    "hard": _hard,
    "covers": _covers,
    "hunting": _hunting,
    "bands": _bands,
    "unreadable": _unreadable,
}
