"""Power for a builder: figures, findings, and what to change."""

from harness.power.assessment import Assessment, WireUse
from harness.power.calculation import assess
from harness.power.course import Course, follow, follow_scenes
from harness.power.findings import power_findings
from harness.power.suggestions import Suggestion, suggest

__all__ = [
    "Assessment",
    "Course",
    "Suggestion",
    "WireUse",
    "assess",
    "follow",
    "follow_scenes",
    "power_findings",
    "suggest",
]
