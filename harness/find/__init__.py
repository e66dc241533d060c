"""From what a person sees on the wall to the joint to solder again."""
