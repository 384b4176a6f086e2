"""The reference value of a check, and the uncertainty of the test.

The artefact's certificate gives its value at 20 °C, or at another temperature that
it states. The system measures the artefact as it is, so the reference is brought to
the artefact's temperature; unless the software has already brought the result to
20 °C, in which case the reference is the value there and the uncertainty of that
correction stays.

The uncertainty of the test holds what the artefact and its set-up contribute:
calibration, drift since, temperature, expansion, mounting, alignment. It never
holds the repeatability or noise of the system under test: that is what the
check is there to find, and forgiving it twice would make a bad system pass.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from enum import StrEnum

from lab.metrology.arrays import non_negative
from lab.metrology.errors import OutOfDomain
from lab.metrology.thermal import (
    REFERENCE_DEGC,
    Expansion,
    ProcessingState,
    Temperature,
    UnknownProcessingState,
    length_at_temperature,
)

__all__ = [
    "Artefact",
    "ArtefactGaveScale",
    "ReferenceValue",
    "SystemTermInTest",
    "TermOrigin",
    "TestTerm",
    "form_reference",
    "length_reference",
    "require_other_artefact",
]


class SystemTermInTest(OutOfDomain):
    """The tested system's own repeatability was put into the test uncertainty."""


class ArtefactGaveScale(OutOfDomain):
    """The artefact of a check is the bar from which the system has its scale."""


class TermOrigin(StrEnum):
    """Where an uncertainty comes from."""

    ARTEFACT = "artefact"
    SET_UP = "set-up"
    SYSTEM = "system under test"


@dataclass(frozen=True, slots=True)
class TestTerm:
    """One contribution to the uncertainty of the test, standard, in mm."""

    # The trade calls it the test uncertainty; pytest must not collect the class.
    __test__ = False

    name: str
    u_mm: float
    origin: TermOrigin

    def __post_init__(self) -> None:
        """Refuse negative uncertainties and terms of the system under test."""
        non_negative(f"u_mm of {self.name!r}", self.u_mm)
        if self.origin is TermOrigin.SYSTEM:
            raise SystemTermInTest(
                f"{self.name!r} is a property of the system under test; the test "
                "uncertainty holds artefact and set-up terms only. Leave it out."
            )


@dataclass(frozen=True, slots=True)
class Artefact:
    """A calibrated artefact as its certificate and its history describe it.

    `value_mm` is the calibrated value at `reference_degc` (for form: the artefact's
    own form deviation); `u_mm` is standard, U/k of the certificate;
    `u_drift_mm` covers what it may have drifted since.
    """

    value_mm: float
    u_mm: float
    expansion: Expansion
    u_drift_mm: float = 0.0
    reference_degc: float = REFERENCE_DEGC

    def __post_init__(self) -> None:
        """Refuse negative values and uncertainties."""
        non_negative("artefact value_mm", self.value_mm)
        non_negative("artefact u_mm", self.u_mm)
        non_negative("artefact u_drift_mm", self.u_drift_mm)
        Temperature(self.reference_degc, 0.0)

    @property
    def value_at_20_mm(self) -> float:
        """The calibrated value brought to 20 °C by the artefact's coefficient."""
        from_20_k = self.reference_degc - REFERENCE_DEGC
        return self.value_mm / (1.0 + self.expansion.per_k * from_20_k)


@dataclass(frozen=True, slots=True)
class ReferenceValue:
    """What the system should have read, and how well that is known."""

    calibrated_mm: float
    value_mm: float
    correction_mm: float
    u_mm: float
    terms: tuple[TestTerm, ...]


def length_reference(
    artefact: Artefact,
    temperature: Temperature,
    state: ProcessingState,
    set_up: Sequence[TestTerm] = (),
) -> ReferenceValue:
    """Give the reference for a length, a spacing or a diameter.

    Parameters
    ----------
    artefact : Artefact
        Its calibrated value, in mm, with expansion and uncertainties.
    temperature : Temperature
        Of the artefact while it was measured, in °C.
    state : ProcessingState
        Whether the result to be compared is as measured or already at 20 °C.
    set_up : sequence of TestTerm
        Further artefact or set-up terms: mounting, alignment, drift of the bench.

    Returns
    -------
    reference : ReferenceValue
        Terms largest first.

    Raises
    ------
    UnknownProcessingState
        If the state is unknown.

    Notes
    -----
    The shares of temperature and expansion are the same in both states: whoever
    applied the correction relied on the same coefficient and thermometer. What the
    coefficient's error does grows with the distance from the temperature at which the
    artefact was calibrated, not from 20 °C: used where it was calibrated, an artefact
    needs no coefficient at all.

    References
    ----------
    .. [1] ISO 1, Standard reference temperature.
    .. [2] ISO 14253-5, Uncertainty in verification testing of indicating
       measuring instruments (the terms that belong to the test; from memory).

    Examples
    --------
    >>> bar = Artefact(1000.0, 0.001, Expansion(11.5e-6, 1.2e-6))
    >>> warm = Temperature(22.0, 0.1)
    >>> round(length_reference(bar, warm, ProcessingState.AS_MEASURED).value_mm, 4)
    1000.023
    >>> length_reference(bar, warm, ProcessingState.AT_REFERENCE).value_mm
    1000.0
    """
    if state is ProcessingState.UNKNOWN:
        raise UnknownProcessingState(
            "The result must be said to be as measured or already at 20 °C before "
            "it can be compared with a certificate."
        )
    at_20_mm, expansion = artefact.value_at_20_mm, artefact.expansion
    moved_k = temperature.degc - artefact.reference_degc
    warm = length_at_temperature(
        at_20_mm,
        expansion,
        Temperature(REFERENCE_DEGC + moved_k, temperature.u_k),
        artefact.u_mm,
    )
    reference_mm = at_20_mm
    if state is ProcessingState.AS_MEASURED:
        reference_mm *= 1.0 + expansion.per_k * temperature.from_reference_k
    thermal = (
        TestTerm(
            "expansion coefficient of the artefact",
            warm.u_from_expansion_mm,
            TermOrigin.ARTEFACT,
        ),
        TestTerm(
            "temperature of the artefact",
            warm.u_from_temperature_mm,
            TermOrigin.SET_UP,
        ),
    )
    return _reference(
        artefact.value_mm,
        reference_mm,
        reference_mm - artefact.value_mm,
        (*_calibration_terms(artefact, artefact.u_mm), *thermal, *set_up),
    )


def form_reference(
    artefact: Artefact, set_up: Sequence[TestTerm] = ()
) -> ReferenceValue:
    """Give the reference for a form: zero, with the artefact's form as doubt.

    Parameters
    ----------
    artefact : Artefact
        `value_mm` is its calibrated form deviation F, in mm.
    set_up : sequence of TestTerm
        Further terms.

    Returns
    -------
    reference : ReferenceValue
        `value_mm` is 0: a form is read, not corrected.

    Notes
    -----
    The artefact's form isn't subtracted, since it doesn't add up with the
    system's in a known way; its share is √((F/2)² + u(F)²), the form in which
    ISO/TS 23165 treats the probing test (from memory, not seen).

    Examples
    --------
    >>> sphere = Artefact(0.0006, 0.0001, Expansion(5.5e-6, 0.6e-6))
    >>> round(form_reference(sphere).u_mm, 6)
    0.000316
    """
    u_form_mm = math.hypot(artefact.value_mm / 2.0, artefact.u_mm)
    return _reference(
        artefact.value_mm, 0.0, 0.0, (*_calibration_terms(artefact, u_form_mm), *set_up)
    )


def require_other_artefact(artefact: str, scale_bars: Collection[str]) -> None:
    """Refuse an artefact that gave the system its scale: it would always agree.

    Parameters
    ----------
    artefact : str
        Identity of the artefact of the check.
    scale_bars : collection of str
        Identities of the bars from which the scale was taken.

    Raises
    ------
    ArtefactGaveScale
        If it is among them.

    Examples
    --------
    >>> require_other_artefact("ball bar 1", ["invar bar", "steel bar"])
    """
    if artefact in scale_bars:
        raise ArtefactGaveScale(
            f"{artefact!r} gave the system its scale, so measuring it again shows "
            "nothing; check with another artefact."
        )


def _calibration_terms(artefact: Artefact, u_mm: float) -> tuple[TestTerm, ...]:
    return (
        TestTerm("calibration of the artefact", u_mm, TermOrigin.ARTEFACT),
        TestTerm(
            "drift of the artefact since", artefact.u_drift_mm, TermOrigin.ARTEFACT
        ),
    )


def _reference(
    calibrated_mm: float,
    value_mm: float,
    correction_mm: float,
    terms: tuple[TestTerm, ...],
) -> ReferenceValue:
    kept = tuple(sorted(terms, key=lambda term: term.u_mm, reverse=True))
    return ReferenceValue(
        calibrated_mm=calibrated_mm,
        value_mm=value_mm,
        correction_mm=correction_mm,
        u_mm=math.hypot(*(term.u_mm for term in kept)),
        terms=kept,
    )
