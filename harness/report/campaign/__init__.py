"""What people read about a campaign: the report at the terminal, JSON, the matrix as a picture."""
