"""The show itself: a scene in a process of its own, guarded, on a wall, all day."""
