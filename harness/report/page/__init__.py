"""The report as one HTML page that needs no other file and no network. README.md describes it."""
