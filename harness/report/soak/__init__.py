"""What a soak tells, as text and as a chart."""
