"""A film of the wall that plays the pattern `coded-film` → which LED sits where, and its light."""
