"""Where pictures come from, and how a picture of any size is fitted to the wall."""
