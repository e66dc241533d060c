"""A long show on simulated time, with faults on the way, and the verdict on it."""
