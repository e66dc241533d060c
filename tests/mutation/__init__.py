"""Whether the tests notice when the code is changed: `python -m tests.mutation`."""
