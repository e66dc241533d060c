"""Files of the user: what is written over, what is read, what bad input costs."""

from tests.outside.generated_use.defaults import at_once, full, untold
from tests.outside.generated_use.hostile import bombs, foreign, garbage, unreadable
from tests.outside.generated_use.masses import many_faults
from tests.outside.generated_use.targets import display_itself, killed, own_again, strange, theirs

KINDS = (
    theirs, many_faults, strange, unreadable, display_itself, full, garbage, own_again, theirs,
    unreadable, many_faults, strange, bombs, garbage, killed, foreign, untold, at_once,
)  # fmt: skip
