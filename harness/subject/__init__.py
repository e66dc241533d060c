"""The code under test, in whatever form you give it, and the trial that tests it."""
