"""Generated walls with faults, and what each LED must show, from a slow simulation of our own.

Nothing here shares code with the faults of foreglow. `chain.py` hands bits from chip to chip, one
after the other, as the datasheets say; `nodal.py` solves both conductors by Kirchhoff's laws;
`signals.py` has closed forms for margins; `sometimes.py` counts how often a loose joint is open;
`invalid.py` gives what must be refused; `projects.py` has tests whose strength is known, for
`foreglow mutate`. `python -m tests.outside.generated_faults [N]` runs N cases of each and tells
what went wrong; the slow test takes fewer.
"""
