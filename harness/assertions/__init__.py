"""Assertions on what a display shows, when it shows it, and what it draws.

`assert_map` and `assert_right` take the display and the code under test, and replay the test
patterns through it as `foreglow check` does.

The others take the bench first. A failure says what the test expected, what the wall shows, and
where. Those on what is shown judge the wall as it is now, the rest every frame latched so far.
All of them fail if nothing was sent, because that would prove nothing.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
