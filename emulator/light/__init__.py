"""From the light of the LEDs to what an eye sees."""
