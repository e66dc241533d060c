"""The show: outputs that fail, scenes that fail, kills, boards, units of systemd."""

from tests.outside.generated_use.endings import (
    board_again,
    ended,
    fork_reaches_nothing,
    killed,
    scene_killed,
    silence,
    too_much_memory,
)
from tests.outside.generated_use.outputs import (
    company,
    kept_of_the_show,
    scene_fails,
    wall_comes_back,
    wall_past_help,
)
from tests.outside.generated_use.units import notified, unit

KINDS = (
    company, killed, unit, scene_fails, silence, ended, unit, wall_comes_back, company, killed,
    board_again, fork_reaches_nothing, unit, scene_killed, kept_of_the_show, notified,
    wall_past_help, too_much_memory,
)  # fmt: skip
