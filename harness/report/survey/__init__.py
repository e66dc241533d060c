"""What `foreglow survey` says of a wall, and the picture of the result."""
