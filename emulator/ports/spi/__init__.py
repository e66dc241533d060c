"""Linux SPI, the kernel interface spidev: as an output, and emulated for a program that uses it."""
