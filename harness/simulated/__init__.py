"""The machine's time, simulated, and a bench that keeps what happened to each frame."""
