"""Generated captures, supplies and covers, judged from outside by calculations of their own.

Nothing here shares code with foreglow: it is run as a user runs it, and what is true comes from the
part's limits as datasheets state them, from Kirchhoff's laws, and from integrals taken by brute
force. Every module names its sources. `python -m tests.outside.generated_physical PART` prints all
that went wrong; the slow test takes fewer cases.
"""
