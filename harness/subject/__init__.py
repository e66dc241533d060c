"""The code under test, in whatever form it is given, and the trial it is put to."""
