"""Rules: from a timeline and its reads to findings. Pure; no simulator, no input or output."""

from padbench.rules.answering import SystemClock, judge_answers
from padbench.rules.findings import Finding, Remedy, Verdict, overall, worst_of_each
from padbench.rules.limits import Limit, Limits
from padbench.rules.timing import PinNames, judge_timing

__all__ = [
    "Finding",
    "Limit",
    "Limits",
    "PinNames",
    "Remedy",
    "SystemClock",
    "Verdict",
    "judge_answers",
    "judge_timing",
    "overall",
    "worst_of_each",
]
