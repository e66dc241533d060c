"""The power stage: what each LED gets, and what the wires and supplies bear for it."""
