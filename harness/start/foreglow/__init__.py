"""Starts the command and the pytest plugin, and checks which packages are foreglow's own.

Other projects also use the names `emulator`, `harness` and `scenes`. This package has a unique name
and prevents one of theirs from being loaded instead of ours. It needs only Python.

In the sources it is in harness/start/, which an editable install puts on the path. A wheel has it
beside the others.
"""
