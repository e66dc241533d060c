"""What is built: the display file, the chip catalogue, the wiring map."""
