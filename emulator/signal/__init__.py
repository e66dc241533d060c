"""Bytes to the waveform of a data line and back: one-wire and clocked chips, timing, captures."""
