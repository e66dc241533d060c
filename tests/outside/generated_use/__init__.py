"""A show, files, text, networks and environments as users have them, drawn at random.

Written from the words of the requirement alone: the installed command is run as a user runs it, and
judged from outside. Nothing here reads foreglow's code. `python -m tests.outside.generated_use PART
FIRST LAST` runs cases by number and prints what is wrong; the number alone determines the whole
case. `… PART kinds` lists what the numbers go through.

- show: outputs and scenes that fail in any way at any time, kills, boards, units of systemd.
- files: the user's own files as targets, hostile files to read, faults by the megabyte.
- escapes: control characters and markup through every field, to every output.
- network: E1.31 sources against a small model of the standard.
- guests: packages, tests, clocks and plugins of other people.

Cases need Linux; those that fill a disk need the right to mount a tmpfs, others go without.
"""
