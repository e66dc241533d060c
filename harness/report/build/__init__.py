"""What is built from: the build sheet, the drawing, the map in other formats, the chips."""
