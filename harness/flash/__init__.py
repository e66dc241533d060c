"""Flash safety: what flashes, how often in a second, and over how much of the field of view."""
