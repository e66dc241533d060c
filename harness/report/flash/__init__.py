"""The report on flashes, as text and as a chart."""
