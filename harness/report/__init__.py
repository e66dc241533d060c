"""Reports: the build sheet, the map in other formats, the drawing."""
