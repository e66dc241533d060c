"""Files of the user: what is written over, what is read, what bad input costs."""

from tests.outside.generated_use.hostile import bombs, foreign, garbage, unreadable
from tests.outside.generated_use.masses import many_faults
from tests.outside.generated_use.targets import display_itself, killed, own_again, strange, theirs

KINDS = (
    theirs, many_faults, strange, unreadable, display_itself, many_faults, garbage, own_again,
    theirs,
    unreadable, strange, bombs, garbage, killed, foreign,
)  # fmt: skip
