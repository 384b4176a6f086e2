"""Model (C): every component of the system, one by one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from lab.metrology.arrays import non_negative
from lab.metrology.budgets.instruments.model import (
    HISTORY_KINDS,
    MPE_KINDS,
    SYSTEM_KINDS,
)
from lab.metrology.budgets.terms import Characteristic, Repeatability, Term, TermKind
from lab.metrology.errors import OutOfDomain
from lab.metrology.thermal import Expansion, Temperature
from lab.metrology.uncertainty import Normal, Rectangular

__all__ = ["BarTemperature", "Components"]


@dataclass(frozen=True, slots=True)
class BarTemperature:
    """The scale bar's own temperature and expansion, where its sensor is its own."""

    expansion: Expansion
    temperature: Temperature
    sensor: str


@dataclass(frozen=True, slots=True)
class Components:
    """Model C: every component of the system, one by one; a zero must be stated.

    Parameters
    ----------
    noise : Repeatability
        Of probing and tracking together.
    frame_u_mm : float
        Standard uncertainty of the relation between the features through the frame
        (:mod:`lab.metrology.budgets.relation`), without scale.
    scale_u_relative : float
        Standard uncertainty of the scale, mm/mm.
    scale_source : str
        Which bar gave it; lengths that share it are perfectly correlated.
    bar_temperature : BarTemperature or None
        None where the part's sensor serves the bar too: then u(T) enters once, with
        the part.
    drift_half_width_mm, field_half_width_mm : float
        Limits of the drift since the last check, and of the error over the field.
    """

    title: ClassVar[str] = "(C) components"

    noise: Repeatability
    frame_u_mm: float
    scale_u_relative: float
    scale_source: str
    bar_temperature: BarTemperature | None
    drift_half_width_mm: float
    field_half_width_mm: float

    def __post_init__(self) -> None:
        """Refuse components that are no numbers, or a scale without a bar."""
        for name in (
            "frame_u_mm",
            "scale_u_relative",
            "drift_half_width_mm",
            "field_half_width_mm",
        ):
            non_negative(name, getattr(self, name))
        if not self.scale_source.strip():
            raise OutOfDomain("scale_source: name what gave the system its scale.")

    @property
    def statement(self) -> str:
        """What the model rests on, in words for the budget's print."""
        return f"{self.title}: scale from {self.scale_source}"

    def terms(self, characteristic: Characteristic, size_mm: float) -> tuple[Term, ...]:
        """Give the components for a size; form has no scale and no relation."""
        if characteristic is Characteristic.FORM:
            return (self.noise.term(TermKind.PROBING_NOISE), *self._limits())
        return (
            self.noise.term(TermKind.PROBING_NOISE),
            Term(TermKind.FRAME, "relation through the frame", Normal(self.frame_u_mm)),
            Term(
                TermKind.SYSTEM_SCALE,
                f"scale from {self.scale_source}",
                Normal(self.scale_u_relative),
                sensitivity=size_mm,
                source=self.scale_source,
                unit="mm/mm",
            ),
            *self._bar(size_mm),
            *self._limits(),
        )

    def holds(self, size_mm: float) -> frozenset[TermKind]:
        """Give the kinds of term that the model contains at this size."""
        return SYSTEM_KINDS | {TermKind.FRAME}

    def foreign(self) -> frozenset[TermKind]:
        """Give the kinds of term that belong to another model."""
        return MPE_KINDS | HISTORY_KINDS

    def _bar(self, size_mm: float) -> tuple[Term, ...]:
        bar = self.bar_temperature
        if bar is None:
            return ()
        return (
            Term(
                TermKind.SCALE_TEMPERATURE,
                f"temperature of {self.scale_source}",
                Normal(bar.temperature.u_k),
                sensitivity=size_mm * bar.expansion.per_k,
                source=bar.sensor,
                unit="K",
            ),
            Term(
                TermKind.SCALE_EXPANSION,
                f"expansion of {self.scale_source}",
                Normal(bar.expansion.u_per_k),
                sensitivity=size_mm * bar.temperature.from_reference_k,
                source=f"expansion of {self.scale_source}",
                unit="1/K",
            ),
        )

    def _limits(self) -> tuple[Term, ...]:
        return (
            Term(
                TermKind.DRIFT,
                "drift since the last check",
                Rectangular(self.drift_half_width_mm),
            ),
            Term(
                TermKind.FIELD_ERROR,
                "error over the field",
                Rectangular(self.field_half_width_mm),
            ),
        )
