"""What changed between two runs of a command, from what `--json` printed."""
