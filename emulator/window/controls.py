"""What the window can be told to do, by which keys, and the state that this changes."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum, auto

import pygame


class Action(Enum):
    """Something the user wants done."""

    PAUSE = auto()
    STEP = auto()
    NEXT = auto()
    PREVIOUS = auto()
    LIST = auto()
    TIME = auto()
    NUMBERS = auto()
    PATH = auto()
    SAVE = auto()
    HELP = auto()
    DISMISS = auto()
    QUIT = auto()


@dataclass(frozen=True)
class Control:
    """An action, its key, and how the help names both."""

    action: Action
    key: int
    key_name: str
    words: str


CONTROLS: tuple[Control, ...] = (
    Control(Action.PAUSE, pygame.K_SPACE, "Space", "pause, go on"),
    Control(Action.STEP, pygame.K_s, "S", "pause, then one frame a press"),
    Control(Action.NEXT, pygame.K_DOWN, "Down", "next pattern or scene"),
    Control(Action.PREVIOUS, pygame.K_UP, "Up", "the one before"),
    Control(Action.LIST, pygame.K_l, "L", "choose from the list"),
    Control(Action.TIME, pygame.K_t, "T", "real or simulated time"),
    Control(Action.NUMBERS, pygame.K_n, "N", "LED numbers"),
    Control(Action.PATH, pygame.K_d, "D", "path of the data"),
    Control(Action.SAVE, pygame.K_p, "P", "save the picture as PNG"),
    Control(Action.HELP, pygame.K_h, "H", "this help"),
    Control(Action.DISMISS, pygame.K_ESCAPE, "Esc", "close card, list or help"),
    Control(Action.QUIT, pygame.K_q, "Q", "close the window"),
)
ACTION_OF_KEY = {control.key: control.action for control in CONTROLS}
_NEED_SOURCES = {Action.NEXT, Action.PREVIOUS, Action.LIST}


@dataclass
class State:
    """What the user has set. `sources` is empty where the program sends its own pictures.

    playing: index of the source. steps: frames asked for while paused and not yet shown.
    picked: (column, row) of the cell whose card is open.
    """

    sources: tuple[str, ...] = ()
    playing: int = 0
    choose_time: bool = True
    real_time: bool = True
    paused: bool = False
    steps: int = 0
    numbers: bool = False
    path: bool = False
    listing: bool = False
    help: bool = False
    picked: tuple[int, int] | None = None
    save: bool = False
    closed: bool = False

    def offers(self, action: Action) -> bool:
        """Whether the action means anything here."""
        if action is Action.TIME:
            return self.choose_time
        return bool(self.sources) or action not in _NEED_SOURCES

    def do(self, action: Action) -> None:
        """Change the state as the action asks; one that is not offered does nothing."""
        if not self.offers(action):
            return
        match action:
            case Action.PAUSE:
                self.paused, self.steps = not self.paused, 0
            case Action.STEP:
                self.steps = self.steps + 1 if self.paused else 0
                self.paused = True
            case Action.NEXT | Action.PREVIOUS:
                step = 1 if action is Action.NEXT else -1
                self.playing = (self.playing + step) % len(self.sources)
            case Action.LIST:
                self.listing, self.help, self.picked = not self.listing, False, None
            case Action.TIME:
                self.real_time = not self.real_time
            case Action.NUMBERS:
                self.numbers = not self.numbers
            case Action.PATH:
                self.path = not self.path
            case Action.SAVE:
                self.save = True
            case Action.HELP:
                self.listing, self.help, self.picked = False, not self.help, None
            case Action.DISMISS:
                self.listing, self.help, self.picked = False, False, None
            case Action.QUIT:
                self.closed = True
