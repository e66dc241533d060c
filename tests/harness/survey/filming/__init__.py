"""Films of walls that do not exist yet: the light of a bench, seen by a telephone."""

from tests.harness.survey.filming import walls
from tests.harness.survey.filming.files import write_film, write_stills
from tests.harness.survey.filming.film import filmed, photographed, true_places
from tests.harness.survey.filming.settings import Setting, drawn

__all__ = [
    "Setting",
    "drawn",
    "filmed",
    "photographed",
    "true_places",
    "walls",
    "write_film",
    "write_stills",
]
