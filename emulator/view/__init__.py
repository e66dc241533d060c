"""What every window on the wall shares: its keys and state, its figures, and the light it shows.

The window on the screen (emulator/window) and the one in a browser (emulator/browser) draw these.
"""
