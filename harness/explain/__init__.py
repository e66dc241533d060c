"""From what the LEDs show to the fault that explains it, in words."""

from harness.explain.colours import explain_colours
from harness.explain.explanation import Explanation, explain

__all__ = ["Explanation", "explain", "explain_colours"]
