"""A result as it is typed or read in, before it is kept."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Final

from lab.common.errors import NotAcceptable
from lab.common.texts import optional_text, refuse_placeholder
from lab.inspections.models import Result
from lab.jobs.models import JobItem
from lab.metrology.conformity import Evaluation
from lab.metrology.errors import MetrologyError
from lab.metrology.units import ANGLE, LENGTH, Quantity, parse_decimal
from lab.parts.models import Characteristic

#: Outside of these no factor belongs to a coverage probability of about 95 %: 1.65 is
#: that of a rectangular distribution, 12.7 that of one degree of freedom (JCGM 100,
#: table G.2; EA-4/02 M:2022, S9.14).
SMALLEST_FACTOR: Final = Decimal("1.6")
LARGEST_FACTOR: Final = Decimal("13")
State = Result.TemperatureState


@dataclass(frozen=True, slots=True, kw_only=True)
class ResultEntry:
    """One value of one characteristic on one item, with its expanded uncertainty.

    ``unit`` is that of value and uncertainty alike; the uncertainty is stated for a
    coverage probability of about 95 %. ``part_temperature_text`` is in °C. Form,
    orientation, position and profile come with their number of points, filter and
    association. ``provider`` names who measured, if it was not the laboratory.
    """

    item: JobItem
    characteristic: Characteristic
    unit: str
    value_text: str
    expanded_u_text: str
    coverage_factor_text: str
    uncertainty_basis: str
    temperature_state: str
    part_temperature_text: str = ""
    number_of_points: int | None = None
    filter_text: str = ""
    association: str = ""
    software: str
    provider: str = ""

    @property
    def name(self) -> str:
        """Return what the entry is about, to begin a refusal with."""
        return f"{self.item.serial}, characteristic {self.characteristic.number}"

    @property
    def value(self) -> Quantity:
        return Quantity(self.value_text, self.unit)

    @property
    def expanded_u(self) -> Quantity:
        return Quantity(self.expanded_u_text, self.unit)

    @property
    def coverage_factor(self) -> Decimal:
        return parse_decimal(self.coverage_factor_text)

    @property
    def part_temperature(self) -> Quantity | None:
        typed = self.part_temperature_text
        return Quantity(typed, "°C") if typed.strip() else None

    @property
    def evaluation(self) -> Evaluation | None:
        """Return how a form-like value was evaluated, as far as it is stated."""
        if self.number_of_points is None:
            return None
        return Evaluation(self.number_of_points, self.filter_text, self.association)

    def refused(self, refusal: Exception) -> NotAcceptable:
        """Return a refusal that names this entry."""
        return NotAcceptable(f"{self.name}: {refusal}", field="entries")

    def columns(self) -> dict[str, Any]:
        """Return the columns of the record, all but who and of which session.

        Raises
        ------
        NotAcceptable
            Naming item and characteristic, if a number or a text can't be kept.
        """
        try:
            self._check_numbers()
            self._check_temperature()
            return self._tidy()
        except (MetrologyError, NotAcceptable) as refusal:
            raise self.refused(refusal) from None

    def _check_numbers(self) -> None:
        wanted = ANGLE if self.characteristic.is_angle else LENGTH
        if self.value.kind is not wanted:
            raise NotAcceptable(f"{self.unit} is no unit of a {wanted.name}.")
        if self.expanded_u.value <= 0:
            raise NotAcceptable(
                f"U = {self.expanded_u} is no uncertainty; it is above zero."
            )
        if not SMALLEST_FACTOR <= self.coverage_factor <= LARGEST_FACTOR:
            raise NotAcceptable(
                f"k = {self.coverage_factor_text} lies outside {SMALLEST_FACTOR} to "
                f"{LARGEST_FACTOR}. State U for a coverage probability of about 95 %."
            )
        if self.characteristic.non_negative and self.evaluation is None:
            raise NotAcceptable(
                "A form, orientation, position or profile value needs its number of "
                "points, filter and association: without them it can't be compared."
            )

    def _check_temperature(self) -> None:
        if self.temperature_state not in State.values:
            raise NotAcceptable(
                "Say whether the value was brought to 20 °C; nobody can tell later."
            )
        if self.temperature_state != State.AT_REFERENCE and not self.part_temperature:
            raise NotAcceptable(
                "A value as measured needs the part's temperature beside it."
            )

    def _tidy(self) -> dict[str, Any]:
        return {
            "item": self.item,
            "characteristic": self.characteristic,
            "unit": self.value.unit,
            "value_text": self.value.text,
            "expanded_u_text": self.expanded_u.text,
            "coverage_factor_text": f"{self.coverage_factor:f}",
            "uncertainty_basis": refuse_placeholder(
                self.uncertainty_basis, "uncertainty_basis"
            ),
            "temperature_state": State(self.temperature_state),
            "part_temperature_text": self.part_temperature_text.strip(),
            "number_of_points": self.number_of_points,
            "filter_text": optional_text(self.filter_text, "filter_text"),
            "association": optional_text(self.association, "association"),
            "software": refuse_placeholder(self.software, "software"),
            "provider": optional_text(self.provider, "provider"),
        }

    @classmethod
    def of(cls, result: Result) -> ResultEntry:
        """Return what a record says, to decide it anew or to begin a correction."""
        kept = (
            "item",
            "characteristic",
            "unit",
            "value_text",
            "expanded_u_text",
            "coverage_factor_text",
            "uncertainty_basis",
            "temperature_state",
            "part_temperature_text",
            "number_of_points",
            "filter_text",
            "association",
            "software",
            "provider",
        )
        return cls(**{name: getattr(result, name) for name in kept})
