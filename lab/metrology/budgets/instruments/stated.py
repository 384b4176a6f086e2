"""Model (A): a maximum permissible error as stated."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import ClassVar

from scipy import special

from lab.metrology.arrays import positive
from lab.metrology.budgets.instruments.model import (
    HISTORY_KINDS,
    MPE_KINDS,
    SYSTEM_KINDS,
)
from lab.metrology.budgets.terms import Characteristic, Term, TermKind
from lab.metrology.checks.limits import Limit
from lab.metrology.errors import MetrologyError, OutOfDomain
from lab.metrology.uncertainty import Normal, Rectangular

__all__ = ["MpeOfOtherQuantity", "MpeQuantity", "StatedMpe"]

# Half a 95 % interval of a normal distribution, in standard deviations.
_K_95 = float(special.ndtri(0.975))


class MpeOfOtherQuantity(MetrologyError):
    """A maker's figure for another quantity than the characteristic."""


class MpeQuantity(StrEnum):
    """What a maker's figure is stated for."""

    LENGTH_MEASUREMENT = "length measurement error"
    SPHERE_SPACING = "sphere-spacing error"
    PROBING_SIZE = "probing size error"
    PROBING_FORM = "probing form error"
    FLAT_FORM = "flat-form error"


_SERVES = {
    Characteristic.LENGTH: {
        MpeQuantity.LENGTH_MEASUREMENT,
        MpeQuantity.SPHERE_SPACING,
    },
    Characteristic.POSITION: {
        MpeQuantity.LENGTH_MEASUREMENT,
        MpeQuantity.SPHERE_SPACING,
    },
    Characteristic.ANGLE: {MpeQuantity.LENGTH_MEASUREMENT, MpeQuantity.SPHERE_SPACING},
    Characteristic.DIAMETER: {MpeQuantity.LENGTH_MEASUREMENT, MpeQuantity.PROBING_SIZE},
    Characteristic.FORM: {MpeQuantity.PROBING_FORM, MpeQuantity.FLAT_FORM},
}


@dataclass(frozen=True, slots=True)
class StatedMpe:
    """Model A: a maximum permissible error as stated.

    Parameters
    ----------
    limit : Limit
        The figure, constant or growing with length.
    quantity : MpeQuantity
        What it is stated for.
    test : str
        The test procedure that it refers to.
    volume_mm : float
        Largest length inside the volume for which it is stated.
    is_95_percent_figure : bool
        True if the maker's figure is a 95 % one and no limit: u = figure/1.96.
    """

    title: ClassVar[str] = "(A) stated MPE"

    limit: Limit
    quantity: MpeQuantity
    test: str
    volume_mm: float
    is_95_percent_figure: bool = False

    def __post_init__(self) -> None:
        """Refuse a figure of which nobody says how it was tested."""
        positive("volume_mm of the stated MPE", self.volume_mm)
        if not self.test.strip():
            raise OutOfDomain("test: say to which test the maker's figure refers.")

    @property
    def statement(self) -> str:
        """What the model rests on, in words for the budget's print."""
        meaning = (
            "a 95 % figure, u = figure/1.96"
            if self.is_95_percent_figure
            else "a maximum permissible error, u = MPE/√3"
        )
        return (
            f"{self.title}: {self.limit.words()}, {self.quantity.value}, "
            f"{self.test}, within {self.volume_mm:g} mm; {meaning}"
        )

    def terms(self, characteristic: Characteristic, size_mm: float) -> tuple[Term, ...]:
        """Give the one term of the stated figure.

        Raises
        ------
        MpeOfOtherQuantity
            If the figure is stated for another quantity.
        """
        if self.quantity not in _SERVES[characteristic]:
            raise MpeOfOtherQuantity(
                f"An MPE of the {self.quantity.value} says nothing of a "
                f"{characteristic.value}."
            )
        figure = self.limit.at(size_mm)
        distribution = (
            Normal(figure / _K_95) if self.is_95_percent_figure else Rectangular(figure)
        )
        return (Term(TermKind.INSTRUMENT, self.title, distribution),)

    def holds(self, size_mm: float) -> frozenset[TermKind]:
        """Give the kinds of term that the model contains at this size."""
        own = SYSTEM_KINDS | MPE_KINDS
        return own if size_mm > self.volume_mm else own | {TermKind.FRAME}

    def foreign(self) -> frozenset[TermKind]:
        """Give the kinds of term that belong to another model."""
        return HISTORY_KINDS
