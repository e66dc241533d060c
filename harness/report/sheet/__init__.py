"""The bench pack: drawings, lists, templates and labels to build a wall from, as PDF or SVG."""
