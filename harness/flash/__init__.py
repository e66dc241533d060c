"""Flash safety: how often the display flashes in a second, and over how much of the view."""
