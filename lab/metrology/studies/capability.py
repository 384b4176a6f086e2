"""Capability of a measuring system (type 1 study) and of a process.

A type 1 study reads one calibrated artefact many times and compares spread and
bias with a share of the tolerance that the system shall be used for:

    Cg  = K·T / (m·s),   Cgk = (K·T/2 − |bias|) / (m·s/2),

usually with K = 0.2 and m = 6; houses differ, so both are parameters.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from numpy.typing import ArrayLike

from lab.metrology.adjustment import summarise
from lab.metrology.arrays import finite, positive, vector
from lab.metrology.errors import Degenerate, OutOfDomain

__all__ = ["Capability", "TypeOneStudy", "capability", "type_one_study"]

_FEWEST_IN_PRACTICE: Final = 25


@dataclass(frozen=True, slots=True)
class TypeOneStudy:
    """A type 1 study: bias and repeatability against a share of the tolerance.

    `is_short` marks fewer than 25 readings (25 to 50 are usual).
    """

    count: int
    mean: float
    bias: float
    standard_deviation: float
    cg: float
    cgk: float
    required: float
    is_capable: bool
    is_short: bool


@dataclass(frozen=True, slots=True)
class Capability:
    """Capability indices; None where a limit is missing.

    `off_centre` is |middle − mean| over half the tolerance, k in the handbooks.
    """

    cp: float | None
    cpk: float
    cp_upper: float | None
    cp_lower: float | None
    off_centre: float | None
    cpm: float | None


def type_one_study(
    readings: ArrayLike,
    reference: float,
    tolerance: float,
    *,
    share: float = 0.2,
    sigma_multiple: float = 6.0,
    required: float = 1.33,
) -> TypeOneStudy:
    """Evaluate repeated readings of one calibrated artefact.

    Parameters
    ----------
    readings : array_like, shape (N,)
        Two or more, under repeatability conditions.
    reference : float
        Calibrated value at the artefact's temperature, in the same unit.
    tolerance : float
        Width T of the tolerance that the system shall serve.
    share : float
        K, the share of T that the spread may take.
    sigma_multiple : float
        m, what counts as the whole spread.
    required : float
        What Cg and Cgk must reach.

    Returns
    -------
    study : TypeOneStudy

    Raises
    ------
    TooFew
        If there are fewer than two readings.
    Degenerate
        If all readings are equal.
    OutOfDomain
        If a parameter isn't positive.

    References
    ----------
    .. [1] VDA volume 5, Measurement and inspection processes (common practice;
       factors vary by house).

    Examples
    --------
    >>> x = [20.303, 20.301, 20.304, 20.303, 20.306, 20.296, 20.301, 20.3, 20.307,
    ...     20.305]
    >>> study = type_one_study(x, 20.302, 0.06)
    >>> round(study.cg, 4), round(study.cgk, 4), study.is_capable
    (0.6175, 0.5558, False)
    """
    told = summarise(vector("readings", readings, minimum=2))
    s = told.standard_deviation
    if s == 0.0:
        raise Degenerate(
            "All readings are equal; the resolution hides the spread, so that neither "
            "Cg nor Cgk can be given."
        )
    allowed = positive("share", share) * positive("tolerance", tolerance)
    spread = positive("sigma_multiple", sigma_multiple) * s
    bias = told.mean - finite("reference", reference)
    cg, cgk = allowed / spread, (allowed / 2.0 - abs(bias)) / (spread / 2.0)
    return TypeOneStudy(
        count=told.count,
        mean=told.mean,
        bias=bias,
        standard_deviation=s,
        cg=cg,
        cgk=cgk,
        required=positive("required", required),
        is_capable=min(cg, cgk) >= required,
        is_short=told.count < _FEWEST_IN_PRACTICE,
    )


def capability(
    mean: float,
    standard_deviation: float,
    *,
    lower: float | None = None,
    upper: float | None = None,
    target: float | None = None,
) -> Capability:
    """Return the capability indices of a process in control.

    Parameters
    ----------
    mean, standard_deviation : float
        Of the process.
    lower, upper : float or None
        Specification limits, one or both.
    target : float or None
        For Cpm; the middle of the limits if None.

    Returns
    -------
    capability : Capability

    Raises
    ------
    OutOfDomain
        If there is no limit, the limits are upside down, or the standard
        deviation isn't positive.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 6.1.6.

    Examples
    --------
    >>> found = capability(16.0, 2.0, lower=8.0, upper=20.0)
    >>> found.cp, round(found.cpk, 4)
    (1.0, 0.6667)
    """
    centre, s = finite("mean", mean), positive("standard_deviation", standard_deviation)
    cp_upper = None if upper is None else (finite("upper", upper) - centre) / (3.0 * s)
    cp_lower = None if lower is None else (centre - finite("lower", lower)) / (3.0 * s)
    indices = [index for index in (cp_upper, cp_lower) if index is not None]
    if not indices:
        raise OutOfDomain("Neither lower nor upper is given; capability needs a limit.")
    cp = off_centre = cpm = None
    if lower is not None and upper is not None:
        if lower >= upper:
            raise OutOfDomain(
                f"The limits {lower:g} and {upper:g} are upside down; exchange them."
            )
        width, middle = upper - lower, (upper + lower) / 2.0
        wanted = middle if target is None else finite("target", target)
        cp = width / (6.0 * s)
        off_centre = abs(middle - centre) / (width / 2.0)
        cpm = width / (6.0 * (s**2 + (centre - wanted) ** 2) ** 0.5)
    return Capability(
        cp=cp,
        cpk=min(indices),
        cp_upper=cp_upper,
        cp_lower=cp_lower,
        off_centre=off_centre,
        cpm=cpm,
    )
