"""The report on light, as text and as a chart."""
