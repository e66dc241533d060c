"""A stand-in for a display of addressable LEDs: describe it, drive it, look at what it shows.

`__init__.pyi` lists the public names and their modules. A module is imported when you first use
one of its names. So `import emulator` is quick and loads nothing that your program does not use.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
