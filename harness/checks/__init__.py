"""The checks, one in each module."""
