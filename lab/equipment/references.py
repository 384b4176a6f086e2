"""What a device's certificate gives to compute with: lengths at 20 °C, corrections."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

import numpy as np

from lab.equipment.models import CalibratedValue, Calibration, SensorCorrection
from lab.metrology.decimals import PRECISE
from lab.metrology.environment import SensorCalibration

REFERENCE_DEGC = Decimal(20)


def value_at_20_mm(value: CalibratedValue) -> Decimal:
    """Return a calibrated length at 20 °C, by its artefact's coefficient (ISO 1).

    Exact where the certificate states it there. A form has no temperature.
    """
    from_20_k = value.temperature.value - REFERENCE_DEGC
    expansion = value.calibration.device.expansion
    if not from_20_k or expansion is None or not value.is_dimension:
        return value.value.value
    factor = 1 + expansion.value * from_20_k
    return PRECISE.divide(value.value.value, factor).quantize(Decimal("1e-9"))


def sensor_calibration(calibration: Calibration) -> SensorCalibration | None:
    """Return a sensor's corrections as its readings are corrected by; None if none.

    As it was left; as it was found only where nothing else is stated.
    """
    rows = list(calibration.corrections.all())
    left = [row for row in rows if row.moment == SensorCorrection.Moment.AS_LEFT]
    rising = sorted(left or rows, key=lambda row: row.reading.value)
    if not rising:
        return None
    return SensorCalibration(
        readings=_array(row.reading.value for row in rising),
        corrections=_array(row.correction.value for row in rising),
        u=_array(row.standard_u_k for row in rising),
    )


def _array(numbers: Iterable[Decimal]) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    return np.array([float(number) for number in numbers])
