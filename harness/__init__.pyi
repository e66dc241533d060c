from .checks.checking import check
from .patterns.pattern import Pattern
from .result.finding import Finding
from .result.report import Report
from .result.result import Result
from .simulated.machine_time import MachineTime
from .simulated.watched import WatchedBench
from .subject.trial import Trial

__all__ = [
    "Finding",
    "MachineTime",
    "Pattern",
    "Report",
    "Result",
    "Trial",
    "WatchedBench",
    "check",
]
