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
from tests.outside.generated_use.surroundings import (
    deaf_wall,
    frozen,
    gathers_nothing,
    terminal_gone,
)
from tests.outside.generated_use.units import notified, unit

KINDS = (
    company, killed, unit, scene_fails, silence, ended, unit, wall_comes_back, terminal_gone,
    board_again, fork_reaches_nothing, company, scene_killed, kept_of_the_show, notified, frozen,
    wall_past_help, too_much_memory, deaf_wall, killed, gathers_nothing, terminal_gone,
)  # fmt: skip
