"""Builders before generated walls with one fault each, who use `foreglow find` as people do.

Nothing here shares code with the search, its eye or its reader of answers. `cases.py` draws a wall
and a fault; `eyes.py` works out from a Bench what a person sees, with thresholds of its own;
`speech.py` words it, in styles of its own; `session.py` drives the real command over a pipe;
`builder.py` plays the person and judges what it hears; `played.py` compares `foreglow campaign`
with every pattern played on a Bench. `python -m tests.outside.generated_find [N]` runs N sessions
and N / 20 campaigns, and prints all that went wrong; the slow test takes fewer.
"""
