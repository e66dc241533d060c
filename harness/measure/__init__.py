"""Measures levels and colours: a few pictures, and figures for what they show about the code."""
