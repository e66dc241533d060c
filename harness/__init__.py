"""Replays test patterns through code under test, and explains what is wrong."""
