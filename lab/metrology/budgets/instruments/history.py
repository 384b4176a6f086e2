"""Model (B): what the history of the lab's own checks shows."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar

from lab.metrology.arrays import finite, non_negative, positive
from lab.metrology.budgets.instruments.model import (
    HISTORY_KINDS,
    MPE_KINDS,
    SYSTEM_KINDS,
)
from lab.metrology.budgets.terms import Characteristic, Term, TermKind
from lab.metrology.errors import MetrologyError, OutOfDomain
from lab.metrology.uncertainty import Normal, StudentT

__all__ = ["CheckHistory", "NotLikeTheArtefact"]


class NotLikeTheArtefact(MetrologyError):
    """A size or feature on which the history of the checks says nothing."""


@dataclass(frozen=True, slots=True)
class CheckHistory:
    """Model B: what the history of the checks shows.

    Parameters
    ----------
    characteristics : frozenset of Characteristic
        Of what the artefact is like.
    smallest_mm, largest_mm : float
        Sizes to which the checks speak.
    artefact_u : float
        Standard uncertainty of the artefact's calibration, in mm (rad for angles).
    long_term_s, long_term_dof : float
        Scatter of the check errors over months, and its degrees of freedom.
    bias, bias_u : float
        Mean error of the checks and its standard uncertainty.
    is_bias_corrected : bool
        True: the bias is taken off the result and ``bias_u`` added. False: |bias| is
        added to the standard uncertainty as a term of its own.
    is_frame_in_checks : bool
        Whether the checks went through a frame as the jobs do.
    artefact : str
        Which artefact, as the shared source of its calibration.
    """

    title: ClassVar[str] = "(B) history of checks"

    characteristics: frozenset[Characteristic]
    smallest_mm: float
    largest_mm: float
    artefact_u: float
    long_term_s: float
    long_term_dof: float
    bias: float
    bias_u: float
    is_bias_corrected: bool
    is_frame_in_checks: bool
    artefact: str

    def __post_init__(self) -> None:
        """Refuse a history that says nothing."""
        for name in ("artefact_u", "long_term_s", "bias_u", "smallest_mm"):
            non_negative(name, getattr(self, name))
        finite("bias", self.bias)
        positive("long_term_dof", self.long_term_dof)
        if self.smallest_mm > self.largest_mm:
            raise OutOfDomain(
                f"The sizes of the check history are upside down: {self.smallest_mm:g} "
                f"to {self.largest_mm:g} mm."
            )

    @property
    def statement(self) -> str:
        """What the model rests on, in words for the budget's print."""
        bias = "corrected" if self.is_bias_corrected else "added as |b|"
        return (
            f"{self.title}: {self.artefact}, {self.smallest_mm:g} mm to "
            f"{self.largest_mm:g} mm, bias {bias}"
        )

    def terms(self, characteristic: Characteristic, size_mm: float) -> tuple[Term, ...]:
        """Give calibration, scatter and bias.

        Raises
        ------
        NotLikeTheArtefact
            If the characteristic or its size is not like the artefact's.
        """
        if characteristic not in self.characteristics:
            raise NotLikeTheArtefact(
                f"The checks with {self.artefact} say nothing of a "
                f"{characteristic.value}; use a stated MPE or components."
            )
        if not self.smallest_mm <= size_mm <= self.largest_mm:
            raise NotLikeTheArtefact(
                f"{size_mm:g} mm lies outside the {self.smallest_mm:g} mm to "
                f"{self.largest_mm:g} mm of the checks with {self.artefact}; use a "
                "stated MPE or components."
            )
        bias_u = self.bias_u if self.is_bias_corrected else abs(self.bias)
        unit = "rad" if characteristic is Characteristic.ANGLE else "mm"
        return (
            Term(
                TermKind.ARTEFACT_CALIBRATION,
                f"calibration of {self.artefact}",
                Normal(self.artefact_u),
                source=self.artefact,
                unit=unit,
            ),
            Term(
                TermKind.LONG_TERM,
                "long-term scatter of checks",
                StudentT(self.long_term_s, self.long_term_dof)
                if math.isfinite(self.long_term_dof)
                else Normal(self.long_term_s),
                unit=unit,
            ),
            Term(
                TermKind.BIAS,
                "bias of checks",
                Normal(bias_u),
                correction=-self.bias if self.is_bias_corrected else 0.0,
                source=f"bias against {self.artefact}",
                unit=unit,
            ),
        )

    def holds(self, size_mm: float) -> frozenset[TermKind]:
        """Give the kinds of term that the model contains at this size."""
        own = SYSTEM_KINDS | HISTORY_KINDS
        return own | {TermKind.FRAME} if self.is_frame_in_checks else own

    def foreign(self) -> frozenset[TermKind]:
        """Give the kinds of term that belong to another model."""
        return MPE_KINDS
