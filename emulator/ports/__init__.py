"""Ways in and out of the emulated display."""
