from .checks.checking import check
from .patterns.pattern import Pattern
from .result.finding import Finding
from .result.report import Report
from .result.result import Result

__all__ = ["Finding", "Pattern", "Report", "Result", "check"]
