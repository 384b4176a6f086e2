"""One kind of characteristic in a method's scope, as a value: checked when made."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

from lab.common.errors import NotAcceptable
from lab.laboratory.models import CharacteristicKind, MethodCapability
from lab.metrology.units import Quantity


@dataclass(frozen=True, slots=True, kw_only=True)
class Capability:
    """A kind, the sizes it is measured at, and the smallest uncertainty claimed.

    What is measured in millimetres has ``cmc_constant`` and, where it grows with the
    size, ``cmc_per_metre``; an angle has ``cmc_angle`` alone.

    Raises
    ------
    NotAcceptable
        If the sizes are upside down or below zero, or the CMC is missing, not above
        zero, or of the other sort.
    """

    kind: str
    smallest: Quantity
    largest: Quantity
    cmc_constant: Quantity | None = None
    cmc_per_metre: Quantity | None = None
    cmc_angle: Quantity | None = None

    def __post_init__(self) -> None:
        if self.kind not in CharacteristicKind.values:
            raise NotAcceptable(f"There is no kind of characteristic “{self.kind}”.")
        if not 0 <= self.smallest.value < self.largest.value:
            raise NotAcceptable(
                f"Sizes from {self.smallest} to {self.largest} are none. "
                "Give the smallest, zero or above, and a largest above it.",
                field="largest",
            )
        if self.kind == CharacteristicKind.ANGLE:
            self._require_angle()
        else:
            self._require_length()

    def _require_angle(self) -> None:
        if self.cmc_constant is not None or self.cmc_per_metre is not None:
            raise NotAcceptable(
                "The smallest uncertainty of an angle is an angle.", field="cmc_angle"
            )
        _require_positive(self.cmc_angle, "cmc_angle")

    def _require_length(self) -> None:
        if self.cmc_angle is not None:
            raise NotAcceptable(
                "The smallest uncertainty of this kind is a length.",
                field="cmc_constant",
            )
        _require_positive(self.cmc_constant, "cmc_constant")
        if self.cmc_per_metre is not None and self.cmc_per_metre.value < 0:
            raise NotAcceptable(
                f"{self.cmc_per_metre} per metre is below zero: the uncertainty would "
                "shrink as the part grows.",
                field="cmc_per_metre",
            )

    def columns(self) -> dict[str, Any]:
        """Return the fields by the names that the model gives them."""
        return {one.name: getattr(self, one.name) for one in fields(self)}

    @classmethod
    def of(cls, record: MethodCapability) -> Capability:
        """Return what a revision's row says, to begin the next revision with."""
        return cls(**{one.name: getattr(record, one.name) for one in fields(cls)})


def _require_positive(cmc: Quantity | None, field: str) -> None:
    if cmc is None:
        raise NotAcceptable(
            "Give the smallest uncertainty that is claimed for this kind.", field=field
        )
    if cmc.value <= 0:
        raise NotAcceptable(f"{cmc} is no uncertainty; it is above zero.", field=field)
