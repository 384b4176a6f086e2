"""A calibrated value as it is typed from a certificate, before it is kept."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import Any

from lab.common.errors import NotAcceptable
from lab.common.texts import refuse_placeholder
from lab.equipment.models import CalibratedValue
from lab.metrology.units import Quantity


@dataclass(frozen=True, slots=True)
class CalibratedEntry:
    """One value with its expanded uncertainty, coverage factor and temperature."""

    label: str
    value: Quantity
    expanded_u: Quantity
    coverage_factor_text: str = "2"
    temperature: Quantity = Quantity("20", "°C")  # noqa: RUF009 - frozen
    moment: str = CalibratedValue.Moment.AS_LEFT

    def columns(self) -> dict[str, Any]:
        """Return the columns of the record.

        Raises
        ------
        NotAcceptable
            If the label is a placeholder or a number makes no sense.
        """
        if self.expanded_u.value <= 0:
            raise NotAcceptable(
                f"{self.label}: an expanded uncertainty is above zero.", field="values"
            )
        return {
            "label": refuse_placeholder(self.label, "values"),
            "moment": CalibratedValue.Moment(self.moment),
            "coverage_factor_text": self._coverage_factor(),
            **CalibratedValue.value.columns(self.value),
            **CalibratedValue.expanded_u.columns(self.expanded_u),
            **CalibratedValue.temperature.columns(self.temperature),
        }

    def _coverage_factor(self) -> str:
        text = self.coverage_factor_text.strip()
        try:
            factor = Decimal(text)
        except InvalidOperation:
            factor = Decimal("NaN")
        if not factor.is_finite() or not 1 <= factor <= 10:
            raise NotAcceptable(
                f"{self.label}: “{text}” is no coverage factor from 1 to 10.",
                field="values",
            )
        return text
