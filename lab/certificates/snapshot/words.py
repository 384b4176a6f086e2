"""The fixed sentences of a certificate, and how days and spans are written on it.

They are our own words for what ISO/IEC 17025:2017, 7.8 asks to be said.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime
from typing import Final
from zoneinfo import ZoneInfo

from lab.metrology.units import Quantity

ITEMS_ONLY: Final = "The results concern only the items named in this document."
AS_RECEIVED: Final = (
    "The laboratory did not sample: the results hold for the items as received."
)
SAMPLED: Final = "The laboratory took the sample as stated under sampling."
NO_PARTIAL_COPY: Final = (
    "This document may not be copied other than in full, unless the laboratory has "
    "agreed in writing."
)
CUSTOMER_DATA: Final = (
    "Supplied by the customer: {supplied}. The laboratory does not answer for these "
    "data; where they are wrong, results and statements that rest on them are not "
    "valid."
)
UNCERTAINTY: Final = (
    "Stated is the expanded uncertainty U, the standard uncertainty multiplied by the "
    "coverage factor k that stands beside it, for a coverage probability of about "
    "95 %. It was evaluated by JCGM 100:2008. U stands in the unit of its result."
)
COVERAGE: Final = "about 95 %"
TRACEABILITY: Final = (
    "The results are metrologically traceable to the International System of Units "
    "(SI) through an unbroken chain of calibrations of the instruments and standards "
    "listed here, each contributing to the uncertainty."
)
REFERENCE: Final = (
    "Dimensions are stated at the reference temperature of 20 °C (ISO 1)."
)
NOT_AT_REFERENCE: Final = (
    "Dimensions are stated at 20 °C (ISO 1) but for those marked as measured."
)
OPINION: Final = "Opinion or interpretation of the laboratory"
#: By judgement: what is said of the checks around a session.
BRACKETING: Final = {
    "bracketed": "Between a passed check before and a passed check after, with nothing "
    "between that could have changed the system.",
    "checked at start only": "Checked before measuring only, as the procedure asks.",
    "not bracketed": "Not closed by passed checks on both sides.",
}


def amendment(number: str, day: str) -> str:
    """Return the sentence that ties an amendment to what it amends (7.8.8.2)."""
    return (
        f"Amendment to {number} of {day}. It is a further document: what it does not "
        "change stays as it is there."
    )


def replacement(number: str, day: str) -> str:
    """Return the sentence that names what a new document replaces (7.8.8.3)."""
    return f"This document replaces {number} of {day}, which is valid no longer."


def day_text(day: date) -> str:
    return day.isoformat()


def moment_text(instant: datetime, zone: ZoneInfo) -> str:
    """Write an instant by the clock of a place, with its offset."""
    there = instant.astimezone(zone)
    return f"{there:%Y-%m-%d %H:%M} {there.isoformat()[-6:]}"


def days_text(days: Iterable[date]) -> str:
    """Write one day, or the first and the last of several."""
    ordered = sorted(days)
    if not ordered:
        return ""
    first, last = ordered[0], ordered[-1]
    return (
        day_text(first) if first == last else f"{day_text(first)} to {day_text(last)}"
    )


def span_text(lowest: Quantity | None, highest: Quantity | None) -> str:
    """Write a range as it was read; one value where both ends are the same."""
    if lowest is None or highest is None:
        return ""
    return str(lowest) if lowest == highest else f"{lowest} to {highest}"
