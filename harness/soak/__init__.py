"""A long show on simulated time, with faults, and the verdict on it."""
