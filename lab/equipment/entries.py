"""Results as they are typed or read from a certificate, before they are kept."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import Any

from lab.common.errors import NotAcceptable
from lab.common.texts import refuse_placeholder
from lab.equipment.models import CalibratedValue, Moment, SensorCorrection
from lab.metrology.units import Quantity

#: Deviations, which may be zero and have no length to expand.
FORMS = (CalibratedValue.Measurand.FORM, CalibratedValue.Measurand.FLATNESS)
#: A sensor that errs by more is broken, or a temperature stands in the wrong column.
LARGEST_CORRECTION_K = Decimal(10)


@dataclass(frozen=True, slots=True)
class CalibratedEntry:
    """One value with its expanded uncertainty, coverage factor and temperature."""

    label: str
    value: Quantity
    expanded_u: Quantity
    coverage_factor_text: str = "2"
    temperature: Quantity = Quantity("20", "°C")  # noqa: RUF009 - frozen
    moment: str = Moment.AS_LEFT
    measurand: str = CalibratedValue.Measurand.LENGTH

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
        form = self.measurand in FORMS
        if self.value.value < 0 or (self.value.value == 0 and not form):
            raise NotAcceptable(
                f"{self.label}: {self.value} can't be a length. Corrections of a "
                "sensor have rows of their own.",
                field="values",
            )
        return {
            "label": refuse_placeholder(self.label, "values"),
            "measurand": CalibratedValue.Measurand(self.measurand),
            "moment": Moment(self.moment),
            "coverage_factor_text": _coverage_factor(
                self.label, self.coverage_factor_text, "values"
            ),
            **CalibratedValue.value.columns(self.value),
            **CalibratedValue.expanded_u.columns(self.expanded_u),
            **CalibratedValue.temperature.columns(self.temperature),
        }


@dataclass(frozen=True, slots=True)
class CorrectionEntry:
    """What is added to a sensor's reading at one calibrated point."""

    reading: Quantity
    correction: Quantity
    expanded_u: Quantity
    coverage_factor_text: str = "2"
    moment: str = Moment.AS_LEFT

    def columns(self) -> dict[str, Any]:
        """Return the columns of the record.

        Raises
        ------
        NotAcceptable
            If a number makes no sense.
        """
        if self.expanded_u.value <= 0:
            raise NotAcceptable(
                f"At {self.reading}: an expanded uncertainty is above zero.",
                field="corrections",
            )
        if abs(self.correction.value) > LARGEST_CORRECTION_K:
            raise NotAcceptable(
                f"At {self.reading}: a correction of {self.correction} is none that a "
                "sensor in use has. A correction is reference minus reading.",
                field="corrections",
            )
        return {
            "moment": Moment(self.moment),
            "coverage_factor_text": _coverage_factor(
                f"At {self.reading}", self.coverage_factor_text, "corrections"
            ),
            **SensorCorrection.reading.columns(self.reading),
            **SensorCorrection.correction.columns(self.correction),
            **SensorCorrection.expanded_u.columns(self.expanded_u),
        }


def _coverage_factor(name: str, typed: str, field: str) -> str:
    text = typed.strip()
    try:
        factor = Decimal(text)
    except InvalidOperation:
        factor = Decimal("NaN")
    if not factor.is_finite() or not 1 <= factor <= 10:
        raise NotAcceptable(
            f"{name}: “{text}” is no coverage factor from 1 to 10.", field=field
        )
    return text
