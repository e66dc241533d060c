"""The contents of a capture, in words and as frames on a display."""
