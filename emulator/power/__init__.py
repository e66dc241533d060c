"""The power stage: the voltage of each LED, and the load of wires and supplies."""
