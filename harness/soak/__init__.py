"""A long show on simulated time, with injected faults, and the verdict on it."""
