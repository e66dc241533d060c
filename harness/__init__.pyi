from .checking import check
from .checks.check import Report, Result
from .finding import Finding
from .patterns import Pattern

__all__ = ["Finding", "Pattern", "Report", "Result", "check"]
