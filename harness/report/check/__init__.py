"""What a check tells: verdict and findings, contact sheet, page of failed tests."""
