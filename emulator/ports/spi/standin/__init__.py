"""A folder for the module search path of a program under test: it finds `spidev` in it."""
