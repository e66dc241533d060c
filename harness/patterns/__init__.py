"""The test patterns, with the coded one, and everything that can be shown by its name."""
