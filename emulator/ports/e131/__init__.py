"""E1.31 (ANSI E1.31-2018): levels over UDP, out to a real wall and in from any program."""

from emulator.ports.e131.listen import listen_e131
from emulator.ports.e131.output import E131Output

__all__ = ["E131Output", "listen_e131"]
