"""Terms of a ready budget: what kind of influence each one is, and where it is from.

The kind decides whether an instrument model already holds the influence. The source
names its cause, such as one scale bar or one thermometer: terms of one source are one
quantity, and perfectly correlated wherever two results share it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from lab.metrology.arrays import finite, non_negative, positive
from lab.metrology.errors import MetrologyError, OutOfDomain
from lab.metrology.uncertainty import Distribution, Input, Normal, Rectangular, StudentT

__all__ = [
    "Characteristic",
    "PassesNotPlausible",
    "Repeatability",
    "Term",
    "TermKind",
    "repeat_readings",
    "sampling_term",
    "workpiece_term",
]

#: Beyond this an "independent pass" is a point: it is refused, not averaged.
MOST_PASSES = 100
#: Below this many repeats their own s is worth less than the pooled one.
FEWEST_REPEATS = 5


class PassesNotPlausible(MetrologyError):
    """An effective number of passes that looks like a number of points."""


class Characteristic(StrEnum):
    """What is measured."""

    LENGTH = "length between features"
    DIAMETER = "diameter"
    FORM = "form"
    POSITION = "position"
    ANGLE = "angle"


class TermKind(StrEnum):
    """The kinds of influence that a ready budget knows."""

    INSTRUMENT = "maximum permissible error of the instrument"
    ARTEFACT_CALIBRATION = "calibration of the artefact"
    LONG_TERM = "long-term scatter of the checks"
    BIAS = "bias found by the checks"
    PROBING_NOISE = "probing noise"
    TRACKER_NOISE = "tracker noise"
    REPEAT = "repeatability"
    FRAME = "relation through the frame"
    SYSTEM_SCALE = "scale of the system"
    SCALE_TEMPERATURE = "temperature of the scale bar"
    SCALE_EXPANSION = "expansion of the scale bar"
    DRIFT = "drift since the last check"
    FIELD_ERROR = "error over the field of the tracker"
    PART_TEMPERATURE = "temperature of the part"
    PART_EXPANSION = "expansion of the part"
    WORKPIECE = "workpiece"
    SAMPLING = "sampling and fit"
    SPRAY = "matting spray"
    TARGET_THICKNESS = "thickness of targets"
    BENDING = "thermal bending"


@dataclass(frozen=True, slots=True)
class Term:
    """One influence on the result.

    Parameters
    ----------
    kind : TermKind
        What it is.
    name : str
        Unique in its budget; printed.
    distribution : Distribution
        Of the influence about its estimate, in its own unit.
    sensitivity : float
        Change of the result per unit of the influence.
    correction : float
        What is added to the measured value for the estimate of this influence, in
        the unit of the result.
    degrees_of_freedom : float, optional
        How well the width of the distribution is known; infinite if left out.
    source : str
        The cause, if it may be shared with other results; empty if it is this
        result's own.
    unit : str
        Of the influence, for print.
    """

    kind: TermKind
    name: str
    distribution: Distribution
    sensitivity: float = 1.0
    correction: float = 0.0
    degrees_of_freedom: float | None = None
    source: str = ""
    unit: str = "mm"

    def __post_init__(self) -> None:
        """Refuse numbers that are none."""
        finite(f"sensitivity of {self.name}", self.sensitivity)
        finite(f"correction of {self.name}", self.correction)

    @property
    def contribution(self) -> float:
        """The signed contribution c·u, in the unit of the result."""
        return self.sensitivity * self.distribution.standard_uncertainty

    def as_input(self) -> Input:
        """Give the term as an input of a linear budget, about zero."""
        return Input(
            self.name,
            0.0,
            self.distribution,
            degrees_of_freedom=self.degrees_of_freedom,
            sensitivity=self.sensitivity,
            unit=self.unit,
        )


@dataclass(frozen=True, slots=True)
class Repeatability:
    """The scatter of one reading, and how many readings the result is the mean of.

    The mean reduces this term and no other: what stays the same within a session
    (scale, bias, frame, temperature) is not averaged out.
    """

    standard_deviation: float
    degrees_of_freedom: float
    repeats: int
    unit: str = "mm"

    def __post_init__(self) -> None:
        """Refuse a scatter that is none, and fewer than one repeat."""
        non_negative("standard_deviation of repeats", self.standard_deviation)
        positive("degrees_of_freedom of repeats", self.degrees_of_freedom)
        if self.repeats < 1:
            raise OutOfDomain(f"repeats must be at least 1, got {self.repeats}.")

    def term(self, kind: TermKind = TermKind.REPEAT) -> Term:
        """Give the term of the mean."""
        scale = self.standard_deviation / math.sqrt(self.repeats)
        distribution: Distribution = (
            StudentT(scale, self.degrees_of_freedom)
            if math.isfinite(self.degrees_of_freedom)
            else Normal(scale)
        )
        return Term(kind, f"mean of {self.repeats}", distribution, unit=self.unit)


def repeat_readings(
    own_standard_deviation: float,
    repeats: int,
    *,
    pooled_standard_deviation: float,
    pooled_degrees_of_freedom: float,
    unit: str = "mm",
) -> Repeatability:
    """Choose the standard deviation of repeats: below five the method's pooled one.

    Parameters
    ----------
    own_standard_deviation : float
        s of the repeats of this result (0 for a single one).
    repeats : int
        How many.
    pooled_standard_deviation, pooled_degrees_of_freedom : float
        Of the method, from its validation.
    unit : str
        Unit of the result.

    Returns
    -------
    Repeatability

    Notes
    -----
    The limit of five is common practice, no source; an s of four readings is itself
    uncertain by 42 % (JCGM 100, Table E.1).

    Examples
    --------
    >>> few = repeat_readings(
    ...     0.001, 3, pooled_standard_deviation=0.004, pooled_degrees_of_freedom=40
    ... )
    >>> few.standard_deviation, few.degrees_of_freedom
    (0.004, 40)
    """
    if repeats < FEWEST_REPEATS:
        return Repeatability(
            pooled_standard_deviation, pooled_degrees_of_freedom, repeats, unit
        )
    return Repeatability(own_standard_deviation, float(repeats - 1), repeats, unit)


def sampling_term(
    pass_standard_deviation: float,
    effective_passes: int,
    *,
    feature: str,
    degrees_of_freedom: float = math.inf,
    sensitivity: float = 1.0,
    unit: str = "mm",
) -> Term:
    r"""Give the share of the fit: the scatter of independent passes over the feature.

    :math:`u = s / \sqrt{n}` with the n independent passes or patches that the person
    states. Neighbouring points of one pass share its errors, so the number of points
    is no n: 0.03 mm over 100 000 points would be a nonsense 0.1 µm.

    Parameters
    ----------
    pass_standard_deviation : float
        Scatter of the fitted feature between passes, in the unit of the result.
    effective_passes : int
        From 1 to 100.
    feature : str
        Which feature; printed.
    degrees_of_freedom : float
        Of the standard deviation.
    sensitivity : float
        Change of the result per change of the feature.
    unit : str
        Unit of the result.

    Raises
    ------
    PassesNotPlausible
        If the number looks like one of points.

    Examples
    --------
    >>> round(sampling_term(0.006, 4, feature="bore 1").contribution, 4)
    0.003
    """
    if not 1 <= effective_passes <= MOST_PASSES:
        raise PassesNotPlausible(
            f"{feature}: {effective_passes} effective passes are not plausible. State "
            f"the independent passes or patches (1 to {MOST_PASSES}), not the points."
        )
    scale = non_negative(
        f"pass_standard_deviation of {feature}", pass_standard_deviation
    ) / math.sqrt(effective_passes)
    distribution: Distribution = (
        StudentT(scale, degrees_of_freedom)
        if math.isfinite(degrees_of_freedom)
        else Normal(scale)
    )
    return Term(
        TermKind.SAMPLING,
        f"sampling of {feature}, {effective_passes} effective passes",
        distribution,
        sensitivity=sensitivity,
        unit=unit,
    )


def workpiece_term(
    half_width: float, *, cause: str, sensitivity: float = 1.0, unit: str = "mm"
) -> Term:
    """Give a share of the part itself (form, roughness, clamping) as a limit.

    Examples
    --------
    >>> round(workpiece_term(0.003, cause="clamping").contribution, 4)
    0.0017
    """
    return Term(
        TermKind.WORKPIECE, cause, Rectangular(half_width), sensitivity, unit=unit
    )
