"""The show as a service of the operating system."""
