"""What the figures of power tell, as text, as TOML, as a plot."""
