"""What a builder learns about power: figures, findings, and what to change."""

from harness.assess.assessment import Assessment, WireUse
from harness.assess.course import Course, follow, follow_scenes
from harness.assess.findings import power_findings
from harness.assess.reckoning import assess
from harness.assess.suggestions import Suggestion, suggest

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
