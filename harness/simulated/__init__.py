"""The machine's time, simulated, and a bench that keeps what became of each frame."""
