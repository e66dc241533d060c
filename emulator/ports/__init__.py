"""Outputs, and inputs of the emulated display: addresses, protocols, devices, capture files."""
