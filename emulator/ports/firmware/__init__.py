"""Firmware for a controller of the AVR family: written for a display, and run without a board."""
