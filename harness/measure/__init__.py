"""Levels and colours measured: a few pictures, and what they show about the code, in figures."""
