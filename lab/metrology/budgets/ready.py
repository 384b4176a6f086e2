r"""Ready budgets: a length, a diameter, form, a position, an angle.

Each takes the measured value, exactly one instrument model, the part's terms, and
whatever else applies; and refuses a term that the instrument model already holds. The
result is a linear :class:`lab.metrology.uncertainty.Budget`, with what it rests on in
words.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from lab.metrology.arrays import finite, non_negative, positive, vector
from lab.metrology.budgets.corrections import PartThermal
from lab.metrology.budgets.instruments import (
    Components,
    InstrumentModel,
    TermAlreadyHeld,
    require_addable,
)
from lab.metrology.budgets.terms import Characteristic, Term, TermKind
from lab.metrology.errors import BadShape, OutOfDomain
from lab.metrology.uncertainty import (
    Budget,
    Combination,
    Expanded,
    combine,
    expand,
)

__all__ = [
    "ReadyBudget",
    "SamplingNotStated",
    "angle_budget",
    "diameter_budget",
    "form_budget",
    "length_budget",
    "position_budget",
]


class SamplingNotStated(OutOfDomain):
    """A ready budget without the share of the fit."""


@dataclass(frozen=True, slots=True)
class ReadyBudget:
    """A budget of one characteristic, with what it rests on.

    ``terms`` are its terms in the order in which they were added; ``corrected`` is
    the measured value with all corrections, the estimate of the budget.
    """

    characteristic: Characteristic
    measured: float
    corrected: float
    unit: str
    instrument: str
    statement: str
    terms: tuple[Term, ...]

    @property
    def budget(self) -> Budget:
        """The budget for combination and Monte Carlo."""
        return Budget(
            self.characteristic.value,
            [each.as_input() for each in self.terms],
            estimate=self.corrected,
            unit=self.unit,
        )

    def combine(self) -> Combination:
        """Combine by the law of propagation."""
        return combine(self.budget)

    def expand(self, probability: float = 0.95) -> Expanded:
        """Combine and expand."""
        return expand(self.combine(), probability)


def length_budget(
    measured_mm: float,
    instrument: InstrumentModel,
    thermal: PartThermal,
    terms: Sequence[Term],
) -> ReadyBudget:
    """Set up the budget of a length between two features.

    Parameters
    ----------
    measured_mm : float
        The length as measured (or already at 20 °C: ``thermal.is_corrected``).
    instrument : InstrumentModel
        Exactly one of the three models.
    thermal : PartThermal
        The part's temperature and expansion.
    terms : sequence of Term
        The part's own terms: sampling of the features (required), workpiece, coating,
        bending; the frame where the instrument model does not hold it.

    Returns
    -------
    ReadyBudget

    Raises
    ------
    MixedInstrumentModels, TermAlreadyHeld, FrameInsideStatedVolume
        If a term belongs to another model, or is held already.
    MpeOfOtherQuantity, NotLikeTheArtefact
        If the model says nothing of this length.
    SamplingNotStated
        If no term states the share of the fit.

    References
    ----------
    .. [1] JCGM 100:2008. [2] ISO 14253-2:2011 (from memory).

    Examples
    --------
    >>> from lab.metrology.budgets import StatedMpe, MpeQuantity, sampling_term
    >>> from lab.metrology.checks.limits import Limit
    >>> from lab.metrology.thermal import Expansion, Temperature
    >>> budget = length_budget(
    ...     800.1234,
    ...     StatedMpe(
    ...         Limit(0.030, 50_000.0), MpeQuantity.LENGTH_MEASUREMENT,
    ...         "ISO 10360-13:2021", volume_mm=2000.0,
    ...     ),
    ...     PartThermal(
    ...         Expansion(23.1e-6, 1.2e-6), Temperature(21.5, 0.3), is_corrected=False
    ...     ),
    ...     [sampling_term(0.006, 3, feature="both end faces")],
    ... )
    >>> round(budget.corrected, 4), round(budget.expand().expanded_u, 3)
    (800.0957, 0.047)
    """
    length = positive("measured_mm", measured_mm)
    return _linear(
        Characteristic.LENGTH, length, length, "mm", instrument, terms, thermal
    )


def diameter_budget(
    measured_mm: float,
    instrument: InstrumentModel,
    thermal: PartThermal,
    terms: Sequence[Term],
) -> ReadyBudget:
    """Set up the budget of a diameter; as :func:`length_budget` does for a length.

    Coating: ``outward=[1, 1]`` for a shaft, ``[-1, -1]`` for a bore.
    """
    diameter = positive("measured_mm", measured_mm)
    return _linear(
        Characteristic.DIAMETER, diameter, diameter, "mm", instrument, terms, thermal
    )


def form_budget(
    measured_mm: float, instrument: InstrumentModel, terms: Sequence[Term]
) -> ReadyBudget:
    """Set up the budget of a form error (flatness, roundness, profile of one feature).

    As :func:`length_budget`, without expansion: a uniform temperature scales form by
    parts in 10⁵ of itself. A temperature difference across the part does not, and
    belongs in a bending term. Noise makes a form error too large and never too small:
    the budget has no correction for that, and the certificate states points and filter.
    """
    form = non_negative("measured_mm", measured_mm)
    return _linear(Characteristic.FORM, form, 0.0, "mm", instrument, terms, None)


def position_budget(
    deviation_mm: ArrayLike,
    distance_mm: float,
    instrument: InstrumentModel,
    thermal: PartThermal,
    terms: Sequence[Term],
) -> ReadyBudget:
    r"""Set up the budget of a position: :math:`P = 2\sqrt{d_x^2 + d_y^2 (+ d_z^2)}`.

    Parameters
    ----------
    deviation_mm : array_like, shape (1,), (2,) or (3,)
        Measured minus nominal place in the datum system, at 20 °C, mm.
    distance_mm : float
        Distance of the feature from the datum: the size for MPE and expansion.
    instrument, terms
        As in :func:`length_budget`; all terms are those of the *radial* deviation, and
        count twice. For the frame take the larger of the coordinates' shares.
    thermal : PartThermal
        With ``is_corrected=True``: coordinates are corrected one by one, before.

    Returns
    -------
    ReadyBudget

    Raises
    ------
    OutOfDomain
        If the deviations are not yet corrected to 20 °C.

    Notes
    -----
    P follows the deviation's direction, and every radial error is taken as lying in
    that direction with its whole size, which is never too small an uncertainty. Near
    P = 0 the result is biased upward, as form is (a non-negative characteristic).
    """
    deviation = vector("deviation_mm", deviation_mm)
    if len(deviation) > 3:
        raise BadShape(
            f"deviation_mm must have one to three coordinates, got {len(deviation)}."
        )
    if not thermal.is_corrected:
        raise OutOfDomain(
            "deviation_mm must be at 20 °C: correct the coordinates first, and state "
            "is_corrected=True."
        )
    distance = positive("distance_mm", distance_mm)
    if any(each.correction for each in (*terms, *_own(instrument, distance))):
        raise OutOfDomain(
            "A correction has no sign in a radial deviation: correct the coordinates "
            "first, and for a bias of the checks state is_bias_corrected=False."
        )
    twice = 2.0 * float(np.linalg.norm(deviation))
    return _linear(
        Characteristic.POSITION,
        twice,
        distance,
        "mm",
        instrument,
        terms,
        thermal,
        factor=2.0,
    )


def angle_budget(
    measured_rad: float,
    base_lengths_mm: Sequence[float],
    instrument: InstrumentModel,
    terms: Sequence[Term],
) -> ReadyBudget:
    r"""Set up the budget of an angle between two features.

    An error e at the end of a base of length b turns the feature by e/b; for the
    instrument models in millimetres each term enters with
    :math:`\sqrt{1/b_1^2 + 1/b_2^2}`, the two bases taken as independent (common
    practice, no source). The scale and uniform expansion leave an angle alone and are
    left out.

    Parameters
    ----------
    measured_rad : float
        The angle.
    base_lengths_mm : sequence of two float
        Length of each feature over which its direction was found.
    instrument : InstrumentModel
        In mm (A, C); a history (B) of angles is in rad.
    terms : sequence of Term
        In rad: sampling (required), bending, the frame's relation.

    Examples
    --------
    >>> from lab.metrology.budgets import StatedMpe, MpeQuantity, sampling_term
    >>> from lab.metrology.checks.limits import Limit
    >>> budget = angle_budget(
    ...     1.5708, [300.0, 400.0],
    ...     StatedMpe(
    ...         Limit(0.030), MpeQuantity.LENGTH_MEASUREMENT,
    ...         "ISO 10360-13:2021", volume_mm=2000.0,
    ...     ),
    ...     [sampling_term(1e-5, 2, feature="both faces", unit="rad")],
    ... )
    >>> round(budget.combine().u * 1e6, 1)
    72.5
    """
    angle = finite("measured_rad", measured_rad)
    if len(base_lengths_mm) != 2:
        raise BadShape(
            f"base_lengths_mm must be two lengths, got {len(base_lengths_mm)}."
        )
    bases = [positive("base_lengths_mm", each) for each in base_lengths_mm]
    lever = math.hypot(1.0 / bases[0], 1.0 / bases[1])
    own = instrument.terms(Characteristic.ANGLE, max(bases))
    turned = [
        _scaled(each, lever if each.unit == "mm" else 1.0)
        for each in own
        if each.unit in ("mm", "rad")
    ]
    for each in terms:
        require_addable(instrument, each, max(bases))
        if each.unit != "rad":
            raise OutOfDomain(
                f"{each.name}: a term of an angle must be in rad, not in {each.unit}."
            )
    return _assembled(Characteristic.ANGLE, angle, "rad", instrument, [*turned, *terms])


def _own(instrument: InstrumentModel, distance_mm: float) -> tuple[Term, ...]:
    return instrument.terms(Characteristic.POSITION, distance_mm)


def _linear(
    characteristic: Characteristic,
    measured: float,
    size_mm: float,
    unit: str,
    instrument: InstrumentModel,
    terms: Sequence[Term],
    thermal: PartThermal | None,
    *,
    factor: float = 1.0,
) -> ReadyBudget:
    own = list(instrument.terms(characteristic, size_mm))
    for each in terms:
        require_addable(instrument, each, size_mm)
    if thermal is not None:
        _refuse_thermal_twice(terms)
        _refuse_two_sensors(instrument, thermal)
        own += thermal.terms(size_mm)
    parts = [_scaled(each, factor) for each in (*own, *terms)]
    return _assembled(characteristic, measured, unit, instrument, parts)


def _refuse_thermal_twice(terms: Sequence[Term]) -> None:
    for each in terms:
        if each.kind in (TermKind.PART_TEMPERATURE, TermKind.PART_EXPANSION):
            raise TermAlreadyHeld(
                f"{each.name} ({each.kind.value}) comes with the part's temperature "
                "already; adding it would count it twice."
            )


def _refuse_two_sensors(instrument: InstrumentModel, thermal: PartThermal) -> None:
    if not isinstance(instrument, Components):
        if thermal.shared_bar is not None:
            raise TermAlreadyHeld(
                f"{instrument.title} already holds the scale bar and its temperature; "
                "state no shared_bar."
            )
        return
    if (instrument.bar_temperature is None) == (thermal.shared_bar is None):
        raise TermAlreadyHeld(
            "The scale bar's temperature enters once: give its own sensor with the "
            "components (bar_temperature), or the bar that shares the part's sensor "
            "with the part (shared_bar); one of the two."
        )


def _scaled(term: Term, factor: float) -> Term:
    if factor == 1.0:
        return term
    return Term(
        kind=term.kind,
        name=term.name,
        distribution=term.distribution,
        sensitivity=term.sensitivity * factor,
        correction=term.correction * factor,
        degrees_of_freedom=term.degrees_of_freedom,
        source=term.source,
        unit=term.unit,
    )


def _assembled(
    characteristic: Characteristic,
    measured: float,
    unit: str,
    instrument: InstrumentModel,
    terms: Sequence[Term],
) -> ReadyBudget:
    if not any(each.kind is TermKind.SAMPLING for each in terms):
        raise SamplingNotStated(
            f"The {characteristic.value} has no sampling term: state the scatter and "
            "the effective number of passes of each fitted feature."
        )
    corrected = measured + math.fsum(each.correction for each in terms)
    if characteristic is Characteristic.FORM and corrected < 0.0:
        raise OutOfDomain(
            f"The corrections take the form error to {corrected:.4g}, below zero: add "
            "the bias as |b| instead."
        )
    return ReadyBudget(
        characteristic=characteristic,
        measured=measured,
        corrected=corrected,
        unit=unit,
        instrument=instrument.title,
        statement=instrument.statement,
        terms=tuple(terms),
    )
