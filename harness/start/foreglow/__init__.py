"""What stands before foreglow's packages: the command, the pytest plugin, whose names are whose.

`emulator`, `harness` and `scenes` are names that others use too. This package, whose name nobody
else has, sees to it that one of theirs is not taken for one of ours. It needs Python alone.

In the sources it lies in harness/start/, which an editable install puts on the path; a wheel has it
beside the others.
"""
