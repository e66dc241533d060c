"""What the judgement of flashes tells, as text and as a chart."""
