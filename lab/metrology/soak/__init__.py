"""How long a part must lie in the room before it can be measured.

A body whose inside conducts much better than its surface sheds heat relaxes to
the room's temperature exponentially (lumped capacitance), with

    τ = m·c / (h·A),

which holds for a Biot number h·(V/A)/k below 0.1 and is refused above. The film
coefficient h of laboratory air is only known within a factor of six, so every
time is a range. Where the room itself drifts at a rate r, the part lags behind it
by r·τ for as long as it drifts.

What must become small isn't the distance from 20 °C, which can be corrected, but
the uncertainty that is left after the correction: of the part's mean temperature
(sensor, unevenness, change while measuring) times α, and of α times the distance
from 20 °C. The soak ends when that is small enough for the tightest
characteristic, and never if the room itself is too far off: the refusal says so.
"""

from __future__ import annotations

from lab.metrology.soak.bodies import (
    AIR_FILM_W_PER_M2_K,
    BiotTooLarge,
    Body,
    Room,
    TimeConstant,
    biot_number,
    time_constant,
)
from lab.metrology.soak.fitness import (
    Fitness,
    SoakCurve,
    soak_curve,
    temperature_fitness,
    wall_surface,
)
from lab.metrology.soak.fitting import fit_time_constant
from lab.metrology.soak.waiting import (
    NeverSteadyEnough,
    SoakNeed,
    SoakTime,
    soak_time,
)

__all__ = [
    "AIR_FILM_W_PER_M2_K",
    "BiotTooLarge",
    "Body",
    "Fitness",
    "NeverSteadyEnough",
    "Room",
    "SoakCurve",
    "SoakNeed",
    "SoakTime",
    "TimeConstant",
    "biot_number",
    "fit_time_constant",
    "soak_curve",
    "soak_time",
    "temperature_fitness",
    "time_constant",
    "wall_surface",
]
