"""Demo displays and scenes of an invented small theatre.

A scene is a source, mostly a function: `picture(time_s, display)` returns a picture (rows,
columns, 3) for any display. Scenes are Python: run only those you trust.
"""

from collections.abc import Mapping

SCENES: Mapping[str, str] = {
    "aurora": "scenes.aurora:picture",
    "clock": "scenes.clock:picture",
    "lobby": "scenes.lobby:picture",
    "programme": "scenes.programme:picture",
}
