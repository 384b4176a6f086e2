"""All sessions judged at once from all records: nothing was missed, or it shows."""

from lab.lapses.archive.judging import Answer, Difference, differences, judge_archive

__all__ = ["Answer", "Difference", "differences", "judge_archive"]
