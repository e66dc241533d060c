"""The parts in front of the LEDs, for a laser cutter: slats between the cells, and the front."""
