"""Finds the shortest explanation for what the LEDs show, and puts it in words."""

from harness.explain.colours import explain_colours
from harness.explain.explanation import Explanation, explain

__all__ = ["Explanation", "explain", "explain_colours"]
