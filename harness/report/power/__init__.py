"""The report on power, as text, as TOML, as a plot."""
