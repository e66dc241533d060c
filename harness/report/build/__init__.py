"""Reports for building: the build sheet, the drawing, the map in other formats, the chips."""
