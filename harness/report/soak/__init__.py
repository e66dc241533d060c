"""The report of a soak, as text and as a chart."""
