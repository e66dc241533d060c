"""Reports for building: the build sheet, the map in other formats, the chips."""
