from .checks.check import Report, Result
from .checks.checking import check
from .patterns.pattern import Pattern
from .result.finding import Finding

__all__ = ["Finding", "Pattern", "Report", "Result", "check"]
