"""What a film depends on: the front of the wall, the room, the camera, the hand and the file.

Figures are the usual ones of telephones and rooms, from memory, unless a line names its source.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np

FrontKind = Literal["bare", "paper", "printed", "bleeding"]
Exposure = Literal["auto", "locked dark", "set"]
Kind = Literal["ordinary", "hard"]


@dataclass(frozen=True)
class Front:
    """What is before the LEDs, and how evenly they were glued.

    bare: LEDs in a black frame, on white or black strips. paper: wooden cells behind paper.
    printed: the same with a motif. bleeding: an acrylic sheet without walls.
    depth: from LED to front, as a share of the pitch. glued_mm: standard deviation of the strips'
    places. spread: that of the LEDs' brightness. leak: share of a cell's light that gets into its
    neighbours.
    gloss: how much of the room the front mirrors. floor: how much of the wall the floor mirrors.
    """

    kind: FrontKind = "paper"
    depth: float = 0.7
    glued_mm: float = 1.0
    spread: float = 0.06
    leak: float = 0.02
    gloss: float = 0.0
    floor: float = 0.0
    white_strips: bool = True


@dataclass(frozen=True)
class Room:
    """lux: light on the wall. flicker: depth of the lamps' 2 · mains_hz ripple, 0 to 1.

    lamps, windows: bright things beside the wall. blinker_hz: another light that blinks there, 0
    for none. passers: people who cross the picture.
    """

    lux: float = 100.0
    flicker: float = 0.1
    mains_hz: float = 50.0
    lamps: int = 1
    windows: int = 0
    blinker_hz: float = 0.0
    passers: int = 0


@dataclass(frozen=True)
class Camera:
    """width, height: of the sensor's picture. field_deg: across its width. distortion: k1, k2,
    p1, p2, k3. readout_s: from its first line to its last. blur_px: of lens and focus (standard
    deviation). glare: share of the light that the lens spreads widely, ghost: that it mirrors
    through the middle.

    exposure: 'auto' follows the wall with `settles_s`; 'locked dark' keeps what fits it while it
    is dark, but at most 1.5 stops more than 'set', which keeps what fits it fully lit. bias_ev:
    brighter or darker than that.
    full_well_e: electrons of a full pixel at ISO 50. iso_most: the largest gain.
    shoulder: how softly the tone curve ends, 0 for plain sRGB. sharpen: of edges, with halos.
    smooth: noise reduction over time, 0 to 1. balance: gains of red and blue on the LEDs' light.
    """

    width: int = 1920
    height: int = 1080
    field_deg: float = 66.0
    distortion: tuple[float, float, float, float, float] = (0.02, -0.02, 0.0, 0.0, 0.0)
    readout_s: float = 0.016
    blur_px: float = 0.7
    glare: float = 0.02
    ghost: float = 0.0
    exposure: Exposure = "auto"
    settles_s: float = 0.4
    bias_ev: float = 0.0
    full_well_e: float = 24000.0
    iso_most: float = 1600.0
    shoulder: float = 0.5
    sharpen: float = 0.6
    smooth: float = 0.0
    balance: tuple[float, float] = (0.8, 1.3)


@dataclass(frozen=True)
class Place:
    """Where the camera is: angles as in `lens.looking`; pitch_px: least distance between
    neighbouring cells in the middle of the wall; aside: how far the wall's middle is from that of
    the frame, as shares of half of it; sway: of the hand, 0 on a stand; fits: share of the frame
    that the wall may take, above 1 its corners are cut off; arrives_s: how long the camera takes to
    turn to the wall, 0 if it looks there from the start."""

    azimuth_deg: float = 0.0
    elevation_deg: float = 0.0
    roll_deg: float = 0.0
    pitch_px: float = 20.0
    aside: tuple[float, float] = (0.0, 0.0)
    sway: float = 1.0
    fits: float = 0.94
    arrives_s: float = 0.0


@dataclass(frozen=True)
class Clip:
    """The file, and how the show and the film fit together.

    before_s, after_s: dark before the pattern and after it; below 0 the film begins within the
    pattern or ends before it. passes: how often it plays. pace: pictures a second, None for the
    pattern's own. jitter_s: of the sender. fps; varying: timestamps as captured, with jitter, else
    of constant rate; from starts_s on. dropped, doubled: shares of frames. codec, mbit: how it is
    compressed. rotation_deg: the flag in the file; mirrored: as some webcams do; upright: a
    portrait film stored upright.
    """

    before_s: float = 1.0
    after_s: float = 1.0
    passes: int = 1
    pace: float | None = None
    jitter_s: float = 0.003
    fps: float = 30.0
    varying: bool = True
    starts_s: float = 0.0
    dropped: float = 0.003
    doubled: float = 0.003
    codec: str = "h264"
    mbit: float = 16.0
    rotation_deg: int = 0
    mirrored: bool = False
    upright: bool = False


@dataclass(frozen=True)
class Setting:
    """All that a film depends on beside the wall, its faults and the seed."""

    front: Front = field(default_factory=Front)
    room: Room = field(default_factory=Room)
    camera: Camera = field(default_factory=Camera)
    place: Place = field(default_factory=Place)
    clip: Clip = field(default_factory=Clip)
    pwm_hz: float = 2000.0

    def in_words(self) -> str:
        """One line for a table."""
        front, room, camera, place, clip = (
            self.front, self.room, self.camera, self.place, self.clip,
        )  # fmt: skip
        return (
            f"{front.kind} {front.depth:.2f} deep {camera.height}p pitch {place.pitch_px:.1f} px"
            f" {place.azimuth_deg:+.0f}/{place.elevation_deg:+.0f}/{place.roll_deg:+.0f}°"
            f" sway {place.sway:.1f}; {room.lux:.0f} lx flicker {room.flicker:.2f}"
            f"{' windows' * bool(room.windows)}{' blinker' * bool(room.blinker_hz)}"
            f"{' passers' * bool(room.passers)}; {camera.exposure} {camera.bias_ev:+.1f} EV"
            f" glare {camera.glare:.3f} blur {camera.blur_px:.1f} px"
            f"{f' smooth {camera.smooth:.1f}' if camera.smooth else ''}; {clip.fps:g} fps"
            f"{' varying' * clip.varying}"
            f"{f' pace {clip.pace:.2g}' if clip.pace else ''} {clip.codec} {clip.mbit:.1f} Mbit/s"
            f"{f' rotated {clip.rotation_deg}' if clip.rotation_deg else ''}"
            f"{' upright' * clip.upright}; PWM {self.pwm_hz:.0f} Hz"
        )


# Quick to make and to read: 432 × 240 px at 15 frames/s, 6 pictures/s.
SMALL = Setting(
    Front("paper", spread=0.05, glued_mm=0.3),
    Room(lux=80, flicker=0.1, lamps=1),
    Camera(width=432, height=240, readout_s=0.016, blur_px=0.6, exposure="set"),
    Place(azimuth_deg=25, elevation_deg=-8, pitch_px=13),
    Clip(before_s=0.6, after_s=0.4, fps=15.0, pace=6.0, mbit=3.0),
)


def drawn(kind: Kind, rng: np.random.Generator) -> Setting:
    """A setting by chance, ordinary or hard."""
    hard = kind == "hard"
    pwm_hz = float(rng.choice([430.0, 1200.0, 2000.0, 19000.0]))
    return Setting(
        _front(hard, rng), _room(hard, rng), _camera(hard, rng), _place(hard, rng),
        _clip(hard, rng), pwm_hz,
    )  # fmt: skip


def _front(hard: bool, rng: np.random.Generator) -> Front:
    kind: FrontKind = rng.choice(["bare", "paper", "printed", "bleeding"])
    deep = {"bare": 0.03, "paper": 0.75, "printed": 0.6, "bleeding": 0.4 if hard else 0.3}[kind]
    return Front(
        kind=kind,
        depth=deep * rng.uniform(0.8, 1.2),
        glued_mm=rng.uniform(0.3, 1.5),
        spread=rng.uniform(0.03, 0.1 if hard else 0.07),
        leak=rng.uniform(0.003, 0.05 if hard else 0.03),
        gloss=float(rng.choice([0.0, 0.04 if hard else 0.02])),
        floor=float(rng.choice([0.0, 0.05, 0.3 if hard else 0.15])),
        white_strips=bool(rng.random() < 0.5),
    )


def _room(hard: bool, rng: np.random.Generator) -> Room:
    return Room(
        lux=float(np.exp(rng.uniform(np.log(2 if hard else 15), np.log(500 if hard else 300)))),
        flicker=float(rng.choice([0.0, 0.1, 0.4, 0.9 if hard else 0.4])),
        mains_hz=float(rng.choice([50.0, 60.0])),
        lamps=int(rng.integers(0, 3)),
        windows=int(rng.random() < 0.3),
        blinker_hz=float(rng.choice([0.0, rng.uniform(0.5, 6.0)], p=[0.7, 0.3])),
        passers=int(rng.random() < (0.5 if hard else 0.25)),
    )


def _camera(hard: bool, rng: np.random.Generator) -> Camera:
    k1 = rng.uniform(-0.16, 0.08) if hard else rng.uniform(-0.06, 0.04)
    tangential = rng.normal(0, 0.001, 2)
    high = 720 if hard else 1080
    exposure: Exposure = rng.choice(["auto", "locked dark", "set"], p=[0.5, 0.3, 0.2])
    return Camera(
        width=high * 16 // 9,
        height=high,
        field_deg=rng.uniform(58, 78),
        distortion=(k1, -0.4 * k1, *tangential, 0.0),
        readout_s=rng.uniform(0.008, 0.030 if hard else 0.022),
        blur_px=rng.uniform(0.5, 1.2 if hard else 1.0),
        glare=rng.uniform(0.005, 0.06 if hard else 0.03),
        ghost=float(rng.choice([0.0, 0.001])),
        exposure=exposure,
        settles_s=rng.uniform(0.2, 0.8),
        bias_ev=rng.uniform(-1.0, 0.8) if hard else rng.uniform(-1.0, 0.5),
        full_well_e=rng.uniform(6000, 24000) if hard else rng.uniform(15000, 30000),
        iso_most=float(rng.choice([800, 1600, 3200])),
        shoulder=rng.uniform(0.0, 0.8),
        sharpen=rng.uniform(0.0, 1.2 if hard else 0.9),
        smooth=float(rng.choice([0.0, 0.4, 0.7 if hard else 0.4])),
        balance=(rng.uniform(0.6, 1.1), rng.uniform(0.9, 1.7)),
    )


def _place(hard: bool, rng: np.random.Generator) -> Place:
    most = 60.0 if hard else 45.0
    azimuth = float(rng.uniform(-most, most))
    least, widest = (6.0, 10.0) if hard else (12.0, 20.0)
    return Place(
        azimuth_deg=azimuth,
        elevation_deg=float(rng.uniform(-20, 20)),
        roll_deg=float(rng.normal(0, 4)),
        pitch_px=float(np.exp(rng.uniform(np.log(least), np.log(widest)))),
        aside=(float(rng.uniform(-0.3, 0.3)), float(rng.uniform(-0.3, 0.3))),
        sway=float(rng.choice([0.0, 1.0, 2.0 if hard else 1.5], p=[0.2, 0.5, 0.3])),
    )


def _clip(hard: bool, rng: np.random.Generator) -> Clip:
    fps = float(rng.choice([24.0, 25.0, 29.97, 30.0], p=[0.35, 0.35, 0.2, 0.1]))
    portrait = rng.random() < 0.2
    return Clip(
        before_s=rng.uniform(0.3, 1.5),
        after_s=rng.uniform(0.4, 1.0),
        pace=float(rng.uniform(4, 6)),
        fps=fps,
        varying=bool(rng.random() < 0.6),
        dropped=float(rng.choice([0.0, 0.005, 0.02 if hard else 0.005])),
        doubled=float(rng.choice([0.0, 0.005])),
        mbit=float(rng.uniform(2, 4) if hard else rng.uniform(6, 16)),
        rotation_deg=int(rng.choice([90, 270])) if portrait else 0,
    )
