"""What was done to a length before it arrived here.

Software at the instrument may already have brought its results to 20 °C, with a
coefficient and a temperature of its own. Corrected twice, a metre of aluminium at
25 °C is wrong by 0.1 mm; so every import states which it is, and a length of
which nobody knows it can't be used.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from lab.metrology.arrays import positive
from lab.metrology.errors import OutOfDomain
from lab.metrology.thermal.length import (
    Expansion,
    Temperature,
    ThermalLength,
    length_at_reference,
    length_at_temperature,
)

__all__ = [
    "AppliedCorrection",
    "DifferentProcessingStates",
    "ProcessingState",
    "UnknownProcessingState",
    "imported_length",
    "require_same_state",
]


class UnknownProcessingState(OutOfDomain):
    """Nobody has said whether a result was already brought to 20 °C."""


class DifferentProcessingStates(OutOfDomain):
    """A check was evaluated in another processing state than the job it opens."""


class ProcessingState(StrEnum):
    """What was done to a result before it arrived here."""

    AS_MEASURED = "as measured"
    AT_REFERENCE = "already at 20 °C"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class AppliedCorrection:
    """The coefficient and the temperature that other software used."""

    expansion_per_k: float
    temperature_degc: float


def imported_length(
    length_mm: float,
    state: ProcessingState,
    expansion: Expansion,
    temperature: Temperature,
    *,
    applied: AppliedCorrection | None = None,
    u_length_mm: float = 0.0,
) -> ThermalLength:
    """Bring an imported length to 20 °C, whatever was done to it before.

    A correction made elsewhere is undone with its own figures, and made again with
    those of the part's record; where both agree, nothing changes.

    Parameters
    ----------
    length_mm : float
        As imported, in mm.
    state : ProcessingState
        What was done to it.
    expansion : Expansion
        The part's, per kelvin.
    temperature : Temperature
        The part's while it was measured, in °C.
    applied : AppliedCorrection or None
        What the other software used; needed if it corrected, else None.
    u_length_mm : float
        Standard uncertainty of `length_mm`, in mm.

    Returns
    -------
    length : ThermalLength
        `correction_mm` is what was added to the imported length.

    Raises
    ------
    UnknownProcessingState
        If the state is unknown, or the figures of a correction are missing.
    OutOfDomain
        If figures of a correction are given for a length as measured.

    Examples
    --------
    >>> steel, warm = Expansion(11.5e-6, 1.2e-6), Temperature(22.0, 0.1)
    >>> done = AppliedCorrection(11.5e-6, 22.0)
    >>> at_20 = ProcessingState.AT_REFERENCE
    >>> round(imported_length(500.0, at_20, steel, warm, applied=done).length_mm, 9)
    500.0
    """
    if state is ProcessingState.UNKNOWN:
        raise UnknownProcessingState(
            "It isn't known whether the length was already brought to 20 °C; find out "
            "and say so before it is used."
        )
    if state is ProcessingState.AS_MEASURED:
        if applied is not None:
            raise OutOfDomain(
                "A length as measured carries no applied correction; say that it is "
                "already at 20 °C, or leave the correction out."
            )
        return length_at_reference(length_mm, expansion, temperature, u_length_mm)
    if applied is None:
        raise UnknownProcessingState(
            "The length was already brought to 20 °C, but not with which coefficient "
            "and temperature; both are needed."
        )
    as_measured = length_at_temperature(
        positive("length_mm", length_mm),
        Expansion(applied.expansion_per_k, 0.0),
        Temperature(applied.temperature_degc, 0.0),
        u_length_mm,
    )
    again = length_at_reference(
        as_measured.length_mm, expansion, temperature, as_measured.u_mm
    )
    return ThermalLength(
        length_mm=again.length_mm,
        correction_mm=again.length_mm - length_mm,
        u_mm=again.u_mm,
        u_from_length_mm=again.u_from_length_mm,
        u_from_expansion_mm=again.u_from_expansion_mm,
        u_from_temperature_mm=again.u_from_temperature_mm,
    )


def require_same_state(check: ProcessingState, job: ProcessingState) -> None:
    """Refuse a check that was evaluated otherwise than the job's results are.

    A check of results as measured says nothing of the correction that the jobs go
    through.

    Parameters
    ----------
    check, job : ProcessingState
        Of the check's readings and of the job's results.

    Raises
    ------
    UnknownProcessingState
        If either is unknown.
    DifferentProcessingStates
        If they differ.

    Examples
    --------
    >>> as_measured = ProcessingState.AS_MEASURED
    >>> require_same_state(as_measured, as_measured)
    """
    if ProcessingState.UNKNOWN in (check, job):
        raise UnknownProcessingState(
            "It isn't known whether check and job were brought to 20 °C alike."
        )
    if check is not job:
        raise DifferentProcessingStates(
            f"The check's readings are {check.value} and the job's results "
            f"{job.value}; evaluate the check in the state of the jobs."
        )
