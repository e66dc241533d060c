"""Recordings on disk: written while the show runs, read again, exported, compared.

A recording is a folder. `layout.npz` contains the place of each LED. `index.jsonl` has one line of
JSON about the recording and then one for each chunk. The chunks `000000.npz` … contain the frames
of one second each: times_ns (T,) int64 and drives (T, N, C) uint8. numpy can read all of these
arrays without foreglow.
"""
