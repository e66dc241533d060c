"""Which faults of a built wall the patterns show, which they tell apart, and the fewest that do."""
