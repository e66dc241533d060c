"""Faults as sentences and as tables of a display file, with the errors of both."""

from __future__ import annotations

import inspect
import pickle
import shlex
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator import Bench, load_display
from emulator.description.faults.built import as_built
from emulator.description.faults.fault import STAGES
from emulator.description.faults.kinds import KINDS, fault_schema
from emulator.description.faults.reading import read_sentence, with_faults
from emulator.description.faults.strip import DataOpen
from emulator.description.load import parse_display
from emulator.errors import DisplayFileError, FaultError

WALL = """\
[grid]
columns = 6
rows = 4

[chip]
part = "WS2812B"

[wiring]
lines = 2
"""


def wall(tmp_path, more=""):
    return parse_display(WALL + more, tmp_path / "wall.toml")


@pytest.mark.parametrize("name", KINDS)
def test_a_kind_has_all_its_words(name):
    kind = KINDS[name]
    assert kind.name == name
    assert kind.stage in STAGES
    assert inspect.getdoc(kind).strip().endswith(".")
    for words in (kind.looks, kind.alike, kind.measure, kind.source):
        assert words
        assert not words.endswith(".")
    for key, field in kind.model_fields.items():
        assert field.description, key


@pytest.mark.parametrize("name", KINDS)
def test_a_sentence_and_a_table_say_what_the_fault_says(name, tmp_path):
    """Written out and read again it is the same fault, at every place of a wall."""
    display = wall(tmp_path)
    places = list(KINDS[name].everywhere(display))
    for fault in places[:: max(len(places) // 7, 1)]:
        assert not list(fault.judge(display))
        assert read_sentence(str(fault), display) == fault
    assert len(set(map(str, places))) == len(places)


def test_faults_of_a_file_are_those_of_its_tables(tmp_path):
    display = wall(
        tmp_path,
        '[[fault]]\nkind = "data-open"\nline = 1\nafter = 3\nshare = 0.25\n'
        '[[fault]]\nkind = "run-reversed"\nrun = 2\n',
    )
    assert [str(fault) for fault in display.faults] == [
        "data-open line=1 after=3 share=0.25",
        "run-reversed run=2",
    ]
    more = with_faults(display, [DataOpen(line=0, after=-1)])
    assert len(more.faults) == 3
    assert Bench(more).display.faults == more.faults


@pytest.mark.parametrize(
    ("sentence", "problem", "fix"),
    [
        ("", "kind of fault is missing", "foreglow faults"),
        ("data-opn line=0", "did you mean 'data-open'", "foreglow faults"),
        ("data-open line=0", "needs 'after'", "foreglow faults data-open"),
        ("data-open line=0 aftr=3", "no key 'aftr'; did you mean 'after'", "line"),
        ("data-open after=3 after=4", "'after=4' twice", "data-open line=0"),
        ("data-open 3", "'3' is not key=value", "data-open line=0 after=143"),
        ("data-open after=x", "after is 'x'", "foreglow faults data-open"),
        ("data-open after=11", "no joint behind LED 11", "use -1 to 10"),
        ("data-open line=2 after=3", "there is no line 2", "use 0 to 1"),
        ("data-open after=3 share=0", "greater than 0", "foreglow faults data-open"),
        ("data-open after=3 share=1.5", "less than or equal to 1", "foreglow faults data-open"),
        ("led-dark led=12", "line 0 has no LED 12", "use 0 to 11"),
        ("led-joined led=0", "no LED comes before LED 0", "use 1 or more"),
        ("run-reversed run=4", "there is no run 4", "use 0 to 3"),
        ("run-short run=1 leds=6", "run 1 has 6 LED", "at most 5"),
        ("runs-exchanged run=1 other=1", "run 1 twice", "two runs"),
        ("outputs-exchanged line=1 other=1", "line 1 twice", "two lines"),
        ("other-corner corner=top-left", "planned to start top-left", "bottom-right"),
        ("other-corner corner=middle", "corner is 'middle'", "other-corner"),
        ("other-chip first=3 last=2 chip=WS2811-LOW", "comes after", "exchange"),
        ("other-chip first=0 last=2 chip=WS2811-LOV", "did you mean 'WS2811-LOW'", "WS2811-LOW"),
        ("other-chip first=0 last=2 chip=APA102", "APA102 has a clock wire", "data wires"),
        ("channel-off led=0 channel=white", "no white channel", "red, green, blue"),
        ("data-open after='3", "cannot be read", "quotes"),
    ],
)
def test_a_wrong_sentence_says_what_is_wrong_where_and_how_to_fix_it(
    sentence, problem, fix, tmp_path
):
    with pytest.raises(FaultError) as raised:
        read_sentence(sentence, wall(tmp_path))
    assert problem in raised.value.problem
    assert fix in raised.value.fix
    assert sentence in raised.value.place


def test_a_fault_given_as_an_object_is_judged_too(tmp_path):
    with pytest.raises(FaultError, match="no joint behind LED 40"):
        Bench(wall(tmp_path), faults=[DataOpen(line=0, after=40)])


def test_wrong_tables_are_all_named_with_their_lines(tmp_path):
    text = (
        '[[fault]]\nkind = "led-dark"\nled = 99\n\n'
        '[[fault]]\nkind = "led-drak"\nled = 1\n\n'
        '[[fault]]\nkind = "data-open"\nafter = "three"\n\n'
        "[[fault]]\nled = 3\n"
    )
    with pytest.raises(DisplayFileError) as raised:
        wall(tmp_path, text)
    first = WALL.count("\n") + 1
    places = [(p.line, p.key, p.table) for p in raised.value.problems]
    assert places == [
        (first + 2, "led", "[[fault]] number 1"),
        (first + 5, "kind", "[[fault]] number 2"),
        (first + 10, "after", "[[fault]] number 3"),
        (first + 12, "kind", "[[fault]] number 4"),
    ]
    assert "did you mean 'led-dark'" in str(raised.value)


def test_ohms_may_be_a_whole_number_or_open(tmp_path):
    table = '[[fault]]\nkind = "power-joint"\nafter = 1\nconductor = "plus"\n'
    for ohm in ("1", "0.5", '"open"'):
        [fault] = wall(tmp_path, f"{table}ohm = {ohm}\n").faults
        assert str(fault.ohm) == str(float(ohm) if ohm[0] != '"' else "open")
    with pytest.raises(DisplayFileError, match="ohm is 'shut'") as raised:
        wall(tmp_path, f'{table}ohm = "shut"\n')
    assert len(raised.value.problems) == 1


def test_a_place_is_a_whole_number_in_a_file_too(tmp_path):
    with pytest.raises(DisplayFileError, match="after"):
        wall(tmp_path, '[[fault]]\nkind = "data-open"\nafter = 1.0\n')


def test_demos_have_no_faults():
    assert load_display("foyer").faults == ()


def test_the_schema_has_every_kind_with_its_keys():
    """One schema a kind: what it needs, and nothing else."""
    schema = fault_schema()
    assert [one["properties"]["kind"]["const"] for one in schema["oneOf"]] == list(KINDS)
    [data_open] = [s for s in schema["oneOf"] if s["properties"]["kind"]["const"] == "data-open"]
    assert data_open["required"] == ["kind", "after"]
    assert data_open["additionalProperties"] is False
    assert data_open["properties"]["share"]["maximum"] == 1


@pytest.mark.slow
@given(st.data())
def test_any_text_is_a_fault_of_the_wall_or_an_error_that_says_why(data):
    """Kinds, keys and values, right or wrong, in any mixture."""
    display = parse_display(WALL, Path("wall.toml"))
    name = data.draw(st.sampled_from([*KINDS, "data-opn", ""]))
    keys = [*(KINDS[name].model_fields if name in KINDS else ()), "line", "x"]
    values = st.one_of(
        st.integers(-(10**30), 10**30).map(str),
        st.integers(-1, 12).map(str),
        st.floats().map(str),
        st.sampled_from(
            ["nan", "inf", "-0", "1e400", "yes", "open", "red", "plus", "WS2812B", "٣"]
        ),
        st.text(max_size=5),
    )
    chosen = data.draw(st.lists(st.sampled_from(keys), unique=True, max_size=6))
    pairs = [f"{key}={shlex.quote(data.draw(values))}" for key in chosen]
    text = " ".join([name, *pairs])
    try:
        fault = read_sentence(text, display)
    except FaultError as error:
        assert error.fix
        return
    assert read_sentence(str(fault), display) == fault
    numbers = [value for value in fault.place.values() if isinstance(value, float)]
    assert np.isfinite(numbers).all()
    built = as_built(display, [fault])
    assert sum(len(chain) for chain in built.chains) > 0


def test_faults_survive_a_pipe():
    """As the display goes to the process of the code under test."""
    display = parse_display(WALL, Path("wall.toml"))
    first = [next(kind.everywhere(display), None) for kind in KINDS.values()]
    display = with_faults(display, [fault for fault in first if fault is not None])
    assert len(display.faults) > 30
    assert pickle.loads(pickle.dumps(display)).faults == display.faults
