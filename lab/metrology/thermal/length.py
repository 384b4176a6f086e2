"""Lengths at the reference temperature and away from it.

The reference temperature of all dimensional specifications is 20 °C (ISO 1).
One form is used throughout, the exact one for a constant mean coefficient,

    L(T) = L20 · (1 + α · (T − 20 °C)),

never its first-order inverse: the two differ by α²·ΔT²·L, which is 13 nm for a
metre of aluminium that is 5 K off. Uncertainties are first order.

A system that takes its scale from a bar measures a part in one order only: bar
to the bar's temperature, the true length of the part at the part's temperature,
the part to 20 °C. Where one sensor serves both, its error enters once, as
(α_part − α_bar) · L · u(T).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from lab.metrology.arrays import finite, non_negative, positive
from lab.metrology.errors import OutOfDomain

__all__ = [
    "REFERENCE_DEGC",
    "Expansion",
    "PartLength",
    "Temperature",
    "ThermalLength",
    "length_at_reference",
    "length_at_temperature",
    "part_length_from_bar",
]

REFERENCE_DEGC = 20.0

# Beyond this a mean coefficient for use near room temperature no longer holds,
# and a number like 293 is a temperature in kelvin.
_LOWEST_DEGC, _HIGHEST_DEGC = -60.0, 150.0


@dataclass(frozen=True, slots=True)
class Expansion:
    """Mean linear expansion coefficient between 20 °C and the temperature of use."""

    per_k: float
    u_per_k: float

    def __post_init__(self) -> None:
        """Refuse what cannot be a coefficient, a slip of 10⁶ first of all."""
        finite("expansion_per_k", self.per_k)
        non_negative("u_expansion_per_k", self.u_per_k)
        if max(abs(self.per_k), self.u_per_k) > 1e-3:
            raise OutOfDomain(
                f"expansion_per_k is {self.per_k:g} ± {self.u_per_k:g}; solids lie "
                "below 0.001 per kelvin. Enter 11.5 µm/(m·K) as 11.5e-6."
            )


@dataclass(frozen=True, slots=True)
class Temperature:
    """A mean temperature of a body and its standard uncertainty."""

    degc: float
    u_k: float

    def __post_init__(self) -> None:
        """Refuse temperatures that no measuring room has."""
        finite("temperature_degc", self.degc)
        non_negative("u_temperature_k", self.u_k)
        if not _LOWEST_DEGC <= self.degc <= _HIGHEST_DEGC:
            raise OutOfDomain(
                f"temperature_degc is {self.degc:g}; it must lie between "
                f"{_LOWEST_DEGC:g} and {_HIGHEST_DEGC:g} °C."
            )

    @property
    def from_reference_k(self) -> float:
        """Difference from 20 °C, in kelvin."""
        return self.degc - REFERENCE_DEGC


@dataclass(frozen=True, slots=True)
class ThermalLength:
    """A length brought to another temperature, with what that cost.

    The three shares are standard uncertainties in mm: of the length that was
    handed in, of the coefficient, and of the temperature.
    """

    length_mm: float
    correction_mm: float
    u_mm: float
    u_from_length_mm: float
    u_from_expansion_mm: float
    u_from_temperature_mm: float


@dataclass(frozen=True, slots=True)
class PartLength:
    """A part's length at 20 °C, measured with the scale of a bar.

    The shares are standard uncertainties in mm; `u_from_temperatures_mm` holds
    both temperatures with their correlation.
    """

    length_mm: float
    true_length_mm: float
    scale_ratio: float
    u_mm: float
    u_from_bar_mm: float
    u_from_bar_expansion_mm: float
    u_from_part_expansion_mm: float
    u_from_temperatures_mm: float


def length_at_reference(
    length_mm: float,
    expansion: Expansion,
    temperature: Temperature,
    u_length_mm: float = 0.0,
) -> ThermalLength:
    """Bring a length from its own temperature to 20 °C.

    L20 = L / (1 + α·(T − 20 °C)).

    Parameters
    ----------
    length_mm : float
        Length of the body at its temperature, in mm.
    expansion : Expansion
        Its mean coefficient, per kelvin.
    temperature : Temperature
        Its mean temperature, in °C.
    u_length_mm : float
        Standard uncertainty of `length_mm`, in mm.

    Returns
    -------
    length : ThermalLength
        Length at 20 °C; `correction_mm` is what was added to `length_mm`.

    Raises
    ------
    NotFinite, OutOfDomain
        If the length isn't positive, or an uncertainty is negative.

    Notes
    -----
    First order: u² = u(L)² + (L·ΔT·u(α))² + (L·α·u(T))².

    References
    ----------
    .. [1] ISO 1, Standard reference temperature.
    .. [2] Swyt, D. A. (1994). J. Res. Natl. Inst. Stand. Technol. 99, 31-44.

    Examples
    --------
    >>> steel = Expansion(11.5e-6, 1.2e-6)
    >>> at_20 = length_at_reference(1000.0, steel, Temperature(21.0, 0.1))
    >>> round(-at_20.correction_mm * 1000, 4)
    11.4999
    """
    length = positive("length_mm", length_mm)
    factor = 1.0 + expansion.per_k * temperature.from_reference_k
    return _thermal_length(
        length, length / factor, expansion, temperature, u_length_mm / factor
    )


def length_at_temperature(
    length_mm: float,
    expansion: Expansion,
    temperature: Temperature,
    u_length_mm: float = 0.0,
) -> ThermalLength:
    """Bring a length given at 20 °C to another temperature.

    L = L20 · (1 + α·(T − 20 °C)).

    Parameters
    ----------
    length_mm : float
        Length at 20 °C, in mm.
    expansion : Expansion
        Mean coefficient of the body, per kelvin.
    temperature : Temperature
        The temperature wanted, in °C.
    u_length_mm : float
        Standard uncertainty of `length_mm`, in mm.

    Returns
    -------
    length : ThermalLength
        Length at the temperature; `correction_mm` is what was added.

    Raises
    ------
    NotFinite, OutOfDomain
        If the length isn't positive, or an uncertainty is negative.

    References
    ----------
    .. [1] ISO 1, Standard reference temperature.

    Examples
    --------
    >>> invar = Expansion(1.2e-6, 0.4e-6)
    >>> warm = length_at_temperature(500.0, invar, Temperature(22.0, 0.2))
    >>> round(warm.length_mm, 4)
    500.0012
    """
    length = positive("length_mm", length_mm)
    factor = 1.0 + expansion.per_k * temperature.from_reference_k
    return _thermal_length(
        length, length * factor, expansion, temperature, u_length_mm * factor
    )


def part_length_from_bar(
    part_reading_mm: float,
    bar_reading_mm: float,
    bar_length_mm: float,
    *,
    u_bar_length_mm: float,
    bar_expansion: Expansion,
    bar_temperature: Temperature,
    part_expansion: Expansion,
    part_temperature: Temperature,
    sensor_correlation: float,
) -> PartLength:
    """Measure a part with a bar's scale and bring it to 20 °C.

    The bar's length at its temperature gives the scale, the scale gives the true
    length of the part at the part's temperature, and that is brought to 20 °C:

        L_part = (reading_part / reading_bar) · B20·(1 + α_b·ΔT_b) / (1 + α_p·ΔT_p).

    Parameters
    ----------
    part_reading_mm, bar_reading_mm : float
        What the system read for part and bar, in its own units called mm.
    bar_length_mm : float
        Calibrated length of the bar at 20 °C, in mm.
    u_bar_length_mm : float
        Its standard uncertainty, in mm.
    bar_expansion, part_expansion : Expansion
        Mean coefficients, per kelvin.
    bar_temperature, part_temperature : Temperature
        Mean temperatures, in °C.
    sensor_correlation : float
        Between the errors of the two temperatures: 1 where one sensor serves
        both, 0 for sensors calibrated independently.

    Returns
    -------
    part : PartLength

    Raises
    ------
    OutOfDomain
        If a reading or length isn't positive, an uncertainty is negative, or the
        correlation lies outside 0 to 1.

    Notes
    -----
    With one sensor the share of temperature is |α_p − α_b|·L·u(T): two bodies
    of like expansion cancel it. The system's repeatability isn't included; it
    belongs to the budget that calls this.

    References
    ----------
    .. [1] JCGM 100:2008, 5.2.2 (correlated inputs).

    Examples
    --------
    >>> steel, room = Expansion(11.5e-6, 1.2e-6), Temperature(22.0, 0.2)
    >>> part = part_length_from_bar(
    ...     800.02, 1000.01, 1000.0, u_bar_length_mm=0.002, bar_expansion=steel,
    ...     bar_temperature=room, part_expansion=steel, part_temperature=room,
    ...     sensor_correlation=1.0)
    >>> round(part.length_mm, 4), part.u_from_temperatures_mm
    (800.012, 0.0)
    """
    reading = positive("part_reading_mm", part_reading_mm)
    correlation = non_negative("sensor_correlation", sensor_correlation)
    if correlation > 1.0:
        raise OutOfDomain(
            f"sensor_correlation is {correlation:g}; it must lie between 0 and 1."
        )
    bar = length_at_temperature(
        bar_length_mm, bar_expansion, bar_temperature, u_bar_length_mm
    )
    ratio = bar.length_mm / positive("bar_reading_mm", bar_reading_mm)
    part = length_at_reference(reading * ratio, part_expansion, part_temperature)
    share_of_bar = part.length_mm / bar.length_mm
    from_bar_mm = share_of_bar * bar.u_from_length_mm
    bar_temperature_mm = (
        share_of_bar * bar.u_from_temperature_mm * _sign(bar_expansion.per_k)
    )
    part_temperature_mm = part.u_from_temperature_mm * _sign(part_expansion.per_k)
    # The bar's temperature raises the answer and the part's lowers it.
    temperatures_mm = math.sqrt(
        max(
            bar_temperature_mm**2
            + part_temperature_mm**2
            - 2.0 * correlation * bar_temperature_mm * part_temperature_mm,
            0.0,
        )
    )
    bar_expansion_mm = share_of_bar * bar.u_from_expansion_mm
    return PartLength(
        length_mm=part.length_mm,
        true_length_mm=reading * ratio,
        scale_ratio=ratio,
        u_mm=math.hypot(
            from_bar_mm, bar_expansion_mm, part.u_from_expansion_mm, temperatures_mm
        ),
        u_from_bar_mm=from_bar_mm,
        u_from_bar_expansion_mm=bar_expansion_mm,
        u_from_part_expansion_mm=part.u_from_expansion_mm,
        u_from_temperatures_mm=temperatures_mm,
    )


def _thermal_length(
    before_mm: float,
    after_mm: float,
    expansion: Expansion,
    temperature: Temperature,
    u_length_mm: float,
) -> ThermalLength:
    """Put the result and its three shares together."""
    from_length_mm = non_negative("u_length_mm", u_length_mm)
    # Both directions have the sensitivity L/(1 + α·ΔT), whichever length is L.
    smaller_mm = after_mm / (1.0 + expansion.per_k * temperature.from_reference_k)
    from_expansion_mm = (
        smaller_mm * abs(temperature.from_reference_k) * expansion.u_per_k
    )
    from_temperature_mm = smaller_mm * abs(expansion.per_k) * temperature.u_k
    return ThermalLength(
        length_mm=after_mm,
        correction_mm=after_mm - before_mm,
        u_mm=math.hypot(from_length_mm, from_expansion_mm, from_temperature_mm),
        u_from_length_mm=from_length_mm,
        u_from_expansion_mm=from_expansion_mm,
        u_from_temperature_mm=from_temperature_mm,
    )


def _sign(value: float) -> float:
    return math.copysign(1.0, value)
