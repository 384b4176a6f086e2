"""Whether two results agree within their uncertainties.

    E_n = (x − X) / √(U_x² + U_X²),

with expanded uncertainties at one coverage probability; |E_n| ≤ 1 agrees. In a
check the artefact's certificate is X.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from lab.metrology.arrays import finite, non_negative
from lab.metrology.errors import Degenerate

__all__ = ["EnScore", "en_score"]

# A score exactly on 1 agrees, whatever the last binary digit says.
_ROUNDING: Final = 1e-12


@dataclass(frozen=True, slots=True)
class EnScore:
    """The score, and whether both results agree."""

    score: float
    agrees: bool


def en_score(
    value: float, reference: float, expanded_u_value: float, expanded_u_reference: float
) -> EnScore:
    """Compare a result with a reference.

    Parameters
    ----------
    value, reference : float
        In one unit.
    expanded_u_value, expanded_u_reference : float
        U of either, at the same coverage probability (usually k = 2).

    Returns
    -------
    score : EnScore

    Raises
    ------
    OutOfDomain
        If an uncertainty is negative.
    Degenerate
        If both are zero.

    Notes
    -----
    It holds for independent results: where both rest on one standard, the common
    part must be left out of both uncertainties.

    References
    ----------
    .. [1] ISO 13528:2022, 9.7; ISO/IEC 17043.

    Examples
    --------
    >>> round(en_score(10.0012, 10.0005, 0.0006, 0.0004).score, 6)
    0.970725
    """
    together = math.hypot(
        non_negative("expanded_u_value", expanded_u_value),
        non_negative("expanded_u_reference", expanded_u_reference),
    )
    if together == 0.0:
        raise Degenerate("Both expanded uncertainties are zero; E_n needs one.")
    score = (finite("value", value) - finite("reference", reference)) / together
    return EnScore(score=score, agrees=abs(score) <= 1.0 + _ROUNDING)
