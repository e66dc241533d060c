"""What a capture holds, in words and as frames on a display."""
