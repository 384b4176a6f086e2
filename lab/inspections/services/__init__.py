"""Every write about results, a module per noun."""

from lab.inspections.services.evaluation import decide_anew, finish_evaluation
from lab.inspections.services.results import correct_result, record_results

__all__ = [
    "correct_result",
    "decide_anew",
    "finish_evaluation",
    "record_results",
]
