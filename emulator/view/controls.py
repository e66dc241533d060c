"""What a window can do, the keys for it, and the state that they change."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from enum import Enum, auto

from emulator.view.viewing import Viewing
from emulator.view.zoom import KEY_STEP, Zoom


class Action(Enum):
    """Something that the user can do."""

    PAUSE = auto()
    STEP = auto()
    NEXT = auto()
    PREVIOUS = auto()
    LIST = auto()
    TIME = auto()
    NEARER = auto()
    FARTHER = auto()
    LIGHTER = auto()
    DARKER = auto()
    NIGHT = auto()
    COLOURS = auto()
    ZOOM_IN = auto()
    ZOOM_OUT = auto()
    WHOLE = auto()
    INSTRUMENTS = auto()
    NUMBERS = auto()
    PATH = auto()
    SAVE = auto()
    HELP = auto()
    DISMISS = auto()
    QUIT = auto()


@dataclass(frozen=True)
class Control:
    """An action, its key as its cap names it, and the words of the help for both."""

    action: Action
    key_name: str
    words: str


CONTROLS: tuple[Control, ...] = (
    Control(Action.PAUSE, "Space", "pause or continue"),
    Control(Action.STEP, "S", "pause; one frame per press"),
    Control(Action.NEXT, "Down", "next scene or pattern"),
    Control(Action.PREVIOUS, "Up", "previous one"),
    Control(Action.LIST, "L", "choose from the list"),
    Control(Action.TIME, "T", "real or simulated time"),
    Control(Action.NEARER, "Left", "look from nearer"),
    Control(Action.FARTHER, "Right", "look from further away"),
    Control(Action.LIGHTER, "PgUp", "more light around"),
    Control(Action.DARKER, "PgDn", "less light around"),
    Control(Action.NIGHT, "E", "night, with an adapted eye"),
    Control(Action.COLOURS, "C", "meant colours or LED colours"),
    Control(Action.ZOOM_IN, "+", "zoom in"),
    Control(Action.ZOOM_OUT, "-", "zoom out"),
    Control(Action.WHOLE, "0", "the whole wall"),
    Control(Action.INSTRUMENTS, "I", "instruments"),
    Control(Action.NUMBERS, "N", "LED numbers"),
    Control(Action.PATH, "D", "path of the data"),
    Control(Action.SAVE, "P", "save the picture as PNG"),
    Control(Action.HELP, "H", "this help"),
    Control(Action.DISMISS, "Esc", "close card, list or help"),
    Control(Action.QUIT, "Q", "close the window"),
)
_NEED_SOURCES = {Action.NEXT, Action.PREVIOUS, Action.LIST}
_NEED_ZOOM = {Action.ZOOM_IN, Action.ZOOM_OUT, Action.WHOLE}
_CLICK = [("Click", "a cell: its LED, line, run, drive")]
_ZOOMING = [
    ("Wheel", "zoom where the pointer is"),
    ("Drag", "scroll, if zoomed"),
    ("Ctrl + arrows", "scroll, if zoomed"),
]


@dataclass
class State:
    """What the user has set. sources: names; empty if the program sends its own pictures.

    playing: index of the source. steps: frames asked for while paused and not yet shown.
    picked: (column, row) of the cell whose card is open, None without a card. zoom: what is seen of
    the wall; a window that can zoom sets how far.
    """

    sources: tuple[str, ...] = ()
    playing: int = 0
    choose_time: bool = True
    real_time: bool = True
    viewing: Viewing = field(default_factory=Viewing)
    zoom: Zoom = field(default_factory=Zoom)
    paused: bool = False
    steps: int = 0
    instruments: bool = True
    numbers: bool = False
    path: bool = False
    listing: bool = False
    help: bool = False
    picked: tuple[int, int] | None = None
    save: bool = False
    closed: bool = False

    def offers(self, action: Action) -> bool:
        """Whether the action can be used here."""
        if action is Action.TIME:
            return self.choose_time
        if action in _NEED_ZOOM:
            return self.zoom.most > 1
        return bool(self.sources) or action not in _NEED_SOURCES

    def do(self, action: Action) -> None:
        """Carry out an action on the state. An action that is not offered changes nothing."""
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
            case Action.NEARER | Action.FARTHER:
                self.viewing = self.viewing.moved(1 if action is Action.FARTHER else -1)
            case Action.LIGHTER | Action.DARKER:
                self.viewing = self.viewing.lit(1 if action is Action.LIGHTER else -1)
            case Action.NIGHT:
                self.viewing = replace(self.viewing, night=not self.viewing.night)
            case Action.COLOURS:
                self.viewing = replace(self.viewing, led_colours=not self.viewing.led_colours)
            case Action.ZOOM_IN | Action.ZOOM_OUT:
                self.zoom = self.zoom.nearer(KEY_STEP if action is Action.ZOOM_IN else 1 / KEY_STEP)
            case Action.WHOLE:
                self.zoom = self.zoom.whole()
            case Action.INSTRUMENTS:
                self.instruments = not self.instruments
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


def pointing(state: State) -> list[tuple[str, str]]:
    """What the mouse and the keys that scroll do, and its words, as far as that is of use."""
    return _CLICK + (_ZOOMING if state.offers(Action.ZOOM_IN) else [])
