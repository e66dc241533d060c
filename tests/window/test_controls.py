"""The controls, without a window."""

from __future__ import annotations

import pytest

from emulator.view.controls import CONTROLS, Action, State
from emulator.view.viewing import Viewing
from emulator.window.keys import ACTION_OF_KEY

SWITCHES = {
    Action.PAUSE: "paused",
    Action.TIME: "real_time",
    Action.NUMBERS: "numbers",
    Action.PATH: "path",
    Action.LIST: "listing",
    Action.HELP: "help",
    Action.INSTRUMENTS: "instruments",
}


def test_every_action_has_a_key_and_one_in_the_help():
    assert {*ACTION_OF_KEY.values()} == {control.action for control in CONTROLS} == {*Action}
    assert len({control.key_name for control in CONTROLS}) == len(CONTROLS) == len(Action)


@pytest.mark.parametrize("action", SWITCHES, ids=lambda a: a.name)
def test_a_switch_goes_over_and_back(action):
    state = State(("a", "b"))
    before = getattr(state, SWITCHES[action])
    state.do(action)
    assert getattr(state, SWITCHES[action]) is not before
    state.do(action)
    assert state == State(("a", "b"))


def test_a_step_pauses_first_and_then_counts():
    state = State(("a",))
    state.do(Action.STEP)
    assert (state.paused, state.steps) == (True, 0)
    state.do(Action.STEP)
    state.do(Action.STEP)
    assert state.steps == 2
    state.do(Action.PAUSE)
    assert (state.paused, state.steps) == (False, 0)


@pytest.mark.parametrize(
    ("action", "expected"),
    [
        (Action.NEARER, Viewing(4.0, 200.0)),
        (Action.FARTHER, Viewing(8.0, 200.0)),
        (Action.LIGHTER, Viewing(6.0, 500.0)),
        (Action.DARKER, Viewing(6.0, 50.0)),
        (Action.NIGHT, Viewing(6.0, 200.0, night=True)),
        (Action.COLOURS, Viewing(6.0, 200.0, led_colours=True)),
    ],
    ids=lambda value: getattr(value, "name", ""),
)
def test_the_view_changes_one_thing_at_a_time(action, expected):
    state = State(("a",), viewing=Viewing(6.0, 200.0))
    state.do(action)
    assert state.viewing == expected


def test_night_and_colours_go_back_as_they_came():
    state = State(("a",), viewing=Viewing(6.0, 200.0))
    for action in (Action.NIGHT, Action.COLOURS, Action.NIGHT, Action.COLOURS):
        state.do(action)
    assert state.viewing == Viewing(6.0, 200.0)


def test_next_and_previous_go_round():
    state = State(("a", "b", "c"))
    seen = []
    for action in [Action.NEXT] * 3 + [Action.PREVIOUS]:
        state.do(action)
        seen.append(state.playing)
    assert seen == [1, 2, 0, 2]


def test_card_list_and_help_are_never_open_together():
    state = State(("a",), picked=(0, 0))
    state.do(Action.LIST)
    assert (state.picked, state.listing, state.help) == (None, True, False)
    state.do(Action.HELP)
    assert (state.picked, state.listing, state.help) == (None, False, True)
    state.do(Action.DISMISS)
    assert (state.picked, state.listing, state.help) == (None, False, False)


@pytest.mark.parametrize("action", [Action.NEXT, Action.PREVIOUS, Action.LIST, Action.TIME])
def test_what_makes_no_sense_for_a_program_s_own_pictures_does_nothing(action):
    state = State(choose_time=False)
    state.do(action)
    assert state == State(choose_time=False)
    assert not state.offers(action)
