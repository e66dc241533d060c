"""Counts, judges and records what a show has shown."""
