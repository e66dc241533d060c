"""Faults of a built wall: one class a kind, with its words, its place and what it changes."""
