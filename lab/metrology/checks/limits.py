"""The limit of a check: a constant, or A + L/K, with or without a cap.

A limit also makes a promise. A system that passes is only known to err by no
more than the limit, and the standard uncertainty of something known to lie
within ±limit, with nothing else known, is limit/√3 (JCGM 100, 4.3.7). A budget
that claims a smaller uncertainty for the system isn't defended by that check,
however often it passes. So a check at the maximum permissible error defends a
budget built on the maximum permissible error, and doesn't defend one built on
the (smaller) history of the checks.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from lab.metrology.arrays import non_negative, positive
from lab.metrology.errors import OutOfDomain

__all__ = ["Defence", "Limit", "defence"]

_RECTANGULAR = math.sqrt(3.0)
# Two figures that agree to this are the same figure typed twice.
_EQUAL = 1e-9


@dataclass(frozen=True, slots=True)
class Limit:
    """A largest permissible |error|: A + L/K, never more than the cap.

    `constant_mm` is A; `mm_per_mm` is K with both lengths in mm, so that
    "20 µm + L/50 µm, L in mm" has K = 50 mm/µm = 50 000; None for a limit that
    doesn't grow with length. `cap_mm` is None where there is none.

    Examples
    --------
    >>> Limit.from_micrometres(20.0, mm_per_um=50.0, cap_um=60.0).at(1500.0)
    0.05
    """

    constant_mm: float
    mm_per_mm: float | None = None
    cap_mm: float | None = None

    def __post_init__(self) -> None:
        """Refuse limits that nothing could meet or that are upside down."""
        non_negative("limit constant_mm", self.constant_mm)
        if self.mm_per_mm is None and self.constant_mm == 0.0:
            raise OutOfDomain("limit constant_mm is 0 and nothing grows with length.")
        if self.mm_per_mm is not None:
            positive("limit mm_per_mm", self.mm_per_mm)
        if self.cap_mm is not None and self.constant_mm > positive(
            "limit cap_mm", self.cap_mm
        ):
            raise OutOfDomain(
                f"limit cap_mm is {self.cap_mm:g}, below the constant part "
                f"{self.constant_mm:g}; exchange them or leave the cap out."
            )

    @classmethod
    def from_micrometres(
        cls,
        constant_um: float,
        *,
        mm_per_um: float | None = None,
        cap_um: float | None = None,
    ) -> Limit:
        """Make a limit from figures as a data sheet states them.

        Parameters
        ----------
        constant_um : float
            A, in µm.
        mm_per_um : float or None
            K of L/K with L in mm and the result in µm.
        cap_um : float or None
            Upper end, in µm.

        Returns
        -------
        limit : Limit
        """
        return cls(
            constant_um / 1000.0,
            None if mm_per_um is None else mm_per_um * 1000.0,
            None if cap_um is None else cap_um / 1000.0,
        )

    def at(self, length_mm: float = 0.0) -> float:
        """Return the limit for a length.

        Parameters
        ----------
        length_mm : float
            The calibrated length, in mm; 0 for form and size.

        Returns
        -------
        limit_mm : float
            Always above zero.

        Raises
        ------
        OutOfDomain
            If the length is negative, or the limit is zero there.
        """
        length = non_negative("length_mm", length_mm)
        limit_mm = self.constant_mm
        if self.mm_per_mm is not None:
            limit_mm += length / self.mm_per_mm
        if self.cap_mm is not None:
            limit_mm = min(limit_mm, self.cap_mm)
        return positive("limit_mm", limit_mm)

    def words(self) -> str:
        """Say the limit as a data sheet would.

        Returns
        -------
        text : str

        Examples
        --------
        >>> Limit(0.02, 50_000.0, 0.06).words()
        '20 µm + L/50 (L in mm), at most 60 µm'
        """
        text = f"{self.constant_mm * 1000:g} µm"
        if self.mm_per_mm is not None:
            text += f" + L/{self.mm_per_mm / 1000:g} (L in mm)"
        if self.cap_mm is not None:
            text += f", at most {self.cap_mm * 1000:g} µm"
        return text


@dataclass(frozen=True, slots=True)
class Defence:
    """Whether a check's limit defends the uncertainty that a budget claims."""

    is_defended: bool
    limit_mm: float
    largest_limit_mm: float
    defended_u_mm: float
    claimed_u_mm: float
    reason: str


def defence(
    limit: Limit,
    claimed_u_mm: float,
    *,
    length_mm: float = 0.0,
    limit_to_u: float = _RECTANGULAR,
) -> Defence:
    """Compare a check's limit with the standard uncertainty that a budget claims.

    Defended if limit ≤ f · u, with f = √3: within ±limit and no more known.

    Parameters
    ----------
    limit : Limit
        The limit that the check is judged by.
    claimed_u_mm : float
        What the budget claims for the system at that length, in mm.
    length_mm : float
        The length at which the two are compared, in mm.
    limit_to_u : float
        f. √3 unless the procedure states another one with its grounds, for
        example 2 where a chart in control shows that errors are normal.

    Returns
    -------
    defence : Defence
        With the largest limit that would defend the claim, and the sentence.

    Raises
    ------
    OutOfDomain
        If the claim or the factor isn't positive.

    References
    ----------
    .. [1] JCGM 100:2008, 4.3.7 (a quantity known to lie within ±a).

    Examples
    --------
    >>> defence(Limit(0.060), 0.020).is_defended
    False
    >>> defence(Limit(0.060), 0.060 / 3**0.5).is_defended
    True
    """
    claimed = positive("claimed_u_mm", claimed_u_mm)
    factor = positive("limit_to_u", limit_to_u)
    at_length_mm = limit.at(length_mm)
    largest_mm = factor * claimed
    is_defended = at_length_mm <= largest_mm * (1.0 + _EQUAL)
    verb = "defends" if is_defended else "does not defend"
    reason = (
        f"A check limit of {at_length_mm * 1000:.4g} µm {verb} a claimed standard "
        f"uncertainty of {claimed * 1000:.4g} µm"
    )
    reason += (
        "."
        if is_defended
        else f": it would need a limit of {largest_mm * 1000:.4g} µm or less."
    )
    return Defence(
        is_defended=is_defended,
        limit_mm=at_length_mm,
        largest_limit_mm=largest_mm,
        defended_u_mm=at_length_mm / factor,
        claimed_u_mm=claimed,
        reason=reason,
    )
