"""What `foreglow find` says: questions, suspects, the fault with its place, what to measure."""
