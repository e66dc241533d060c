"""The serial link to a board: the protocol, a sender, an emulated board, and the receiver in C."""
