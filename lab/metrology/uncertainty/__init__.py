"""Uncertainty of measurement by JCGM 100 (GUM) and JCGM 101 (its Supplement 1).

``Input``, ``from_readings`` and the distributions
    What each influence is known to be.
``Budget``, ``combine``
    The law of propagation, contributions largest first, Welch-Satterthwaite.
``expand``
    Coverage factor and expanded uncertainty.
``propagate``
    Monte Carlo of the same budget, adaptive, with the shortest coverage interval.
``simultaneous_readings``, ``correlation_between``
    Correlated inputs from readings taken together, and results that share inputs.
``compare``
    Whether Monte Carlo validates the law of propagation (JCGM 101, clause 8).
"""

from __future__ import annotations

from lab.metrology.uncertainty.budget import (
    Budget,
    Combination,
    Contribution,
    DuplicateInput,
    Model,
    combine,
)
from lab.metrology.uncertainty.coverage import (
    CoverageMethod,
    Dominance,
    Expanded,
    dominance,
    expand,
    student_coverage_factor,
    trapezoid_coverage_factor,
    truncated_dof,
)
from lab.metrology.uncertainty.distributions import (
    Arcsine,
    CurvilinearTrapezoid,
    Distribution,
    Normal,
    Rectangular,
    StudentT,
    Trapezoidal,
    Triangular,
)
from lab.metrology.uncertainty.inputs import (
    Input,
    degrees_of_freedom_from_reliability,
    from_readings,
    relative_uncertainty_of_s,
)
from lab.metrology.uncertainty.montecarlo import (
    Agreement,
    MonteCarlo,
    NotConverged,
    compare,
    propagate,
)
from lab.metrology.uncertainty.simultaneous import (
    SimultaneousReadings,
    correlation_between,
    simultaneous_readings,
)

__all__ = [
    "Agreement",
    "Arcsine",
    "Budget",
    "Combination",
    "Contribution",
    "CoverageMethod",
    "CurvilinearTrapezoid",
    "Distribution",
    "Dominance",
    "DuplicateInput",
    "Expanded",
    "Input",
    "Model",
    "MonteCarlo",
    "Normal",
    "NotConverged",
    "Rectangular",
    "SimultaneousReadings",
    "StudentT",
    "Trapezoidal",
    "Triangular",
    "combine",
    "compare",
    "correlation_between",
    "degrees_of_freedom_from_reliability",
    "dominance",
    "expand",
    "from_readings",
    "propagate",
    "relative_uncertainty_of_s",
    "simultaneous_readings",
    "student_coverage_factor",
    "trapezoid_coverage_factor",
    "truncated_dof",
]
