"""The names by which the lapse rules know the records."""

from __future__ import annotations


def session_key(pk: int) -> str:
    return f"session:{pk}"


def system_key(pk: int) -> str:
    return f"system:{pk}"


def procedure_key(pk: int) -> str:
    return f"procedure:{pk}"


def number_in(key: str) -> int | None:
    """Return the number that a name ends with, or None."""
    number = key.rpartition(":")[2]
    return int(number) if number.isdecimal() else None


def cause_key(session: int, name: str, cause: str, procedure: str) -> str:
    """Return what identifies a finding on its session, and its hold on the job."""
    return ";".join([name, cause, *filter(None, [procedure]), f"session:{session}"])
