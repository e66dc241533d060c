"""The output of a check: verdict and findings, contact sheet, page of failed tests."""
