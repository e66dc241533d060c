"""Where pictures come from, and how one of any size comes to the size of the wall."""
