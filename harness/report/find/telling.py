"""What `foreglow find` says: questions, suspects, and the fault with all that helps to fix it."""

from __future__ import annotations

import textwrap
from collections import Counter
from collections.abc import Sequence

from emulator.description.faults.fault import Fault
from harness.find.belief import ENOUGH, Belief
from harness.find.measuring import expected_volts, two_points
from harness.find.place import named_place, short, variant, whereabouts
from harness.find.search import Search

EXAMPLES = (
    "row 7 dark from the fifth", "all red", "first LED flickers", "LED 143 green",
    "column 3 wrong colour", "the lower half dark", "rows 3 to 5 dim", "fine", "not sure",
)  # fmt: skip

HELP = f"""\
Say where, and what you see there: {"; ".join(f"'{one}'" for one in EXAMPLES)}.
Join several with ';'. What you do not mention is as it should be.
Rows and columns are numbered from 0, from the top left, as you see the wall from the front; LEDs
from 0 along their line ('LED 20 of line 1'). 'fifth' is the one with number 4.
undo: take back the last answer.   quit: stop; the same command goes on later."""

_CAUTIONS = """\
Switch the LEDs' supply off before you touch the wall, and wait until every LED is dark. Never
solder with the power on. Have work on mains done by somebody licensed for it."""

MOST_ALIKE = 12  # faults that look the same, with a number
_MOST_OTHERS = 4
_LEAST_OTHER = 0.001  # share of what else it could be
_MANY_SLIPS = 2.5  # cells by which answers differ from what is named, before it says so


def suspects_in_words(search: Search, belief: Belief, most: int = 3) -> str:
    """The most likely places with their probabilities, in a line each."""
    lines: list[str] = []
    for place in belief.ranked(most):
        share = belief.of_place[place]
        if share < 0.005 and lines:
            break
        members = belief.members(place).tolist()
        names = _members(search, members)
        lines.append(f"   {min(share, 0.99):>4.0%}  {names}")
    return "\n".join(lines)


def _members(search: Search, members: Sequence[int]) -> str:
    if search.nothing in members:
        return "nothing else is wrong" if search.known else "nothing is wrong"
    first = short(search.suspects[members[0]], search.display)
    more = len(members) - 1
    return first + (f", or {more} more that look the same" if more else "")


def result(search: Search, belief: Belief) -> str:
    """The fault, where it is, what to measure, what else it could be, cautions."""
    place = belief.best
    members = [n for n in belief.members(place).tolist() if n != search.nothing]
    faults = [search.suspects[number] for number in members]
    fault, display = faults[0], search.display
    share = belief.sureness
    chance = members[0] in search.by_chance.numbers
    what = f"Chance spoils the data. First to check: {fault.what()}" if chance else fault.what()
    lines = [
        f"Found ({_sure(share)} sure): {what}" if share >= ENOUGH
        else f"Most likely ({share:.0%}; the pictures cannot tell more): {what}",
        f"   where:    {named_place(fault, display)}{variant(fault)}",
    ]  # fmt: skip
    if there := whereabouts(fault, display):
        lines.append(f"             {there}")
    if chance and len(faults) > 1:
        lines += _told_by_meter(search, belief, members)
    elif len(faults) > 1:
        lines.append("   looks exactly the same:")
        lines += [
            f"         {number:>2}. {short(one, display)}"
            for number, one in enumerate(faults[1:MOST_ALIKE], start=2)
        ]
        if len(faults) > MOST_ALIKE:
            lines.append(f"             and {_counted(faults[MOST_ALIKE:])}")
    lines += _now_and_then(search, belief)
    slips, cells = search.differs(members[0], belief.beside)
    if slips >= _MANY_SLIPS:
        lines += [
            f"   but:      your answers differ from it in about {slips:.0f} of {cells} cells;",
            "             it may be another fault, which foreglow does not know",
        ]
    lines.append(f"   measure:  {two_points(fault, display)}")
    volts = expected_volts(fault, display)
    if volts is not None:
        text = (
            f"   expect:   between + and ground at {volts.led}: {volts.dark:.2f} V with all dark, "
        )
        text += f"{volts.white:.2f} V with all white"
        if abs(volts.white_faulty - volts.white) >= 0.05:
            text += f"; with this fault {volts.white_faulty:.2f} V"
        lines.append(text + " (power model)")
    others = _others(search, belief, place)
    if others:
        lines.append(f"   or else:  {others[0]}")
        lines += [f"             {one}" for one in others[1:]]
    lines.append(f"   also alike, by its kind: {fault.alike}")
    return "\n".join([*lines, "", _CAUTIONS])


def _now_and_then(search: Search, belief: Belief) -> list[str]:
    """That the same part may come and go, or not, as far as the answers leave it open."""
    others = belief.beside_members(belief.best)
    share = float(belief.probability[others].sum())
    if share < _LEAST_OTHER:
        return []
    if search.suspects[others[0]].comes_and_goes:
        return [
            f"   or:       the same, but now and then ({share:.1%}): it may measure right then.",
            "             Play the same picture again: does it look the same?",
        ]
    return [f"   or:       the same, all the time ({share:.1%})"]


def _told_by_meter(search: Search, belief: Belief, members: Sequence[int]) -> list[str]:
    """Faults that act by chance, with a share each, and what tells them apart."""
    lines = ["   looks much the same; pictures tell these apart badly, a measurement does:"]
    for number, one in enumerate(members, start=1):
        fault = search.suspects[one]
        share = belief.probability[one] / belief.of_place[belief.best]
        lines.append(f"         {number:>2}. {short(fault, search.display)}")
        lines += textwrap.wrap(f"{share:.0%}; {fault.measure}", 88, initial_indent=" " * 13,
                               subsequent_indent=" " * 13)  # fmt: skip
    return lines


def _sure(share: float) -> str:
    return "more than 99 %" if share > 0.99 else f"{100 * share:.0f} %"


def hidden_in(search: Search, members: Sequence[int]) -> str:
    """Which faults could still be there, as no picture shows them."""
    faults = [search.suspects[number] for number in members if number != search.nothing]
    return f"Pictures do not show everything: {_counted(faults)} would look fine." if faults else ""


def _others(search: Search, belief: Belief, place: int) -> list[str]:
    found = []
    same = {place, *belief.place[belief.beside_members(place)].tolist()}
    for other in belief.ranked(1 + _MOST_OTHERS):
        share = belief.of_place[other]
        if other not in same and share >= _LEAST_OTHER:
            found.append(f"{_members(search, belief.members(other).tolist())} ({share:.1%})")
    return found


def _counted(faults: Sequence[Fault]) -> str:
    kinds = Counter(one.name for one in faults)
    return ", ".join(f"{count} × {name}" for name, count in kinds.items())
