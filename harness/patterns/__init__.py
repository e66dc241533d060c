"""The test patterns, the coded one among them, and all that can be shown by its name."""
