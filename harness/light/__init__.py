"""Light as a builder asks for it: the figures of a display before its cover is built."""
