"""Faults of a built wall: one class for each kind, with its words, its place and its effect."""
