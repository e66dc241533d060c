"""Films of walls as built, made and judged from outside.

`python -m tests.outside.generated_survey [FIRST] [COUNT]` runs cases.

Everything here was written from the documents and the outputs of the commands alone. What the wall
is sent comes from `foreglow record`; the mistakes of the bench, the light, the camera and the truth
are this package's own:

- `walls` draws a wall as planned, `played` records what it is sent;
- `built` makes mistakes at the bench, and knows which LED then shows in which cell;
- `lamps` draws LEDs into a camera's picture, `camera` says where, `room` what else is there,
  `sensor` how it looks on the film, `reel` writes the film;
- `cases` draws all of this from a number, `judged` compares the command's answer with the truth.
"""
