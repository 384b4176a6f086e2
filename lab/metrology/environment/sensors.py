"""Readings corrected by their sensor's calibration.

The certificate gives corrections at a few calibrated readings. Between them they
are interpolated; beyond the outermost they stay what they are there, and every
reading for which that happened is named: it is outside the range in which anybody
has vouched for the sensor.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lab.metrology.arrays import same_length, vector
from lab.metrology.environment.readings import Readings
from lab.metrology.errors import OutOfDomain

__all__ = ["CorrectedReadings", "SensorCalibration", "corrected_readings"]

_Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class SensorCalibration:
    """Corrections and standard uncertainties at rising readings, each shape (M,).

    A correction is what is added to the reading: reference minus reading.
    """

    readings: _Array
    corrections: _Array
    u: _Array

    def __post_init__(self) -> None:
        """Refuse tables that can't be interpolated."""
        at = vector("calibrated readings", self.readings)
        corrections = vector("corrections", self.corrections)
        u = vector("u", self.u)
        same_length(readings=at, corrections=corrections, u=u)
        if np.any(np.diff(at) <= 0.0):
            raise OutOfDomain("The calibrated readings must rise from row to row.")
        if np.any(u < 0.0):
            raise OutOfDomain("u holds a negative uncertainty.")
        object.__setattr__(self, "readings", at)
        object.__setattr__(self, "corrections", corrections)
        object.__setattr__(self, "u", u)


@dataclass(frozen=True, slots=True, eq=False)
class CorrectedReadings:
    """Corrected readings, their standard uncertainties, and which are out of range."""

    readings: Readings
    u: _Array
    outside_range: NDArray[np.intp]


def corrected_readings(
    readings: Readings, calibration: SensorCalibration
) -> CorrectedReadings:
    """Correct readings by a calibration, linearly between its points.

    Parameters
    ----------
    readings : Readings
        As read.
    calibration : SensorCalibration
        Of the sensor.

    Returns
    -------
    corrected : CorrectedReadings
        `outside_range` are indices of readings beyond the calibrated ones.

    Notes
    -----
    The uncertainty is interpolated too; the error between calibrated points isn't
    known to be linear, and belongs to the sensor's own budget.

    Examples
    --------
    >>> calibration = SensorCalibration(
    ...     np.array([15.0, 25.0]), np.array([0.1, -0.1]), np.array([0.05, 0.05]))
    >>> room = Readings(np.array([0.0, 60.0]), np.array([20.0, 26.0]))
    >>> found = corrected_readings(room, calibration)
    >>> found.readings.values.round(3).tolist(), found.outside_range.tolist()
    ([20.0, 25.9], [1])
    """
    at = calibration.readings
    added = np.interp(readings.values, at, calibration.corrections)
    outside = (readings.values < at[0]) | (readings.values > at[-1])
    return CorrectedReadings(
        readings=Readings(readings.times_s, readings.values + added),
        u=np.interp(readings.values, at, calibration.u),
        outside_range=np.flatnonzero(outside),
    )
