"""Generated ways to a wall: LEDs by number, SPI programs, hidden LEDs and firmware.

Nothing here shares code with foreglow: it is run as a user runs it. What is true comes from the
words of the display file, from the times of the datasheets as `foreglow chips` prints them, from
the kernel's documented behaviour and from counts of bytes. Every module names its sources.
`python -m tests.outside.generated_ways PART [FIRST LAST]` runs all cases of a part, or some; the
slow test takes fewer.
"""
