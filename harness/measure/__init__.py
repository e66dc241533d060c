"""Levels and colours measured: a few pictures, and what they tell about the code in figures."""
