"""What the figures of light tell, as text and as a chart."""
