"""Recordings on disk: written while the show runs, read again, exported, compared.

A recording is a folder. `layout.npz` holds where each LED sits, `index.jsonl` one line of JSON
about the recording and then one a chunk, `000000.npz` … the frames of one second each: times_ns
(T,) int64 and drives (T, N, C) uint8. numpy reads all of it without foreglow.
"""
