"""What stands before foreglow's packages: the command, the pytest plugin, whose names are whose.

`emulator`, `harness` and `scenes` are names that others use too. This package, whose name nobody
else has, sees to it that one of theirs is not taken for one of ours. It needs Python alone.
"""
