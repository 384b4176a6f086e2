"""The scale of a system from several calibrated bars.

Each bar, at its own temperature, gives a ratio m = reading / true length. Two
bars of one calibration laboratory share an error, and so do two whose
temperature was read with one sensor or whose expansion comes from one source; a
plain mean would forget that and claim too little. The ratios are therefore
averaged with their full covariance, and tested against each other with the same
covariance: several bars that disagree are a finding, and a single bar has no
redundancy and says so.

Lengths beyond the longest bar are an extrapolation: 5 µm on 0.5 m is 30 µm on
3 m, and no number of short bars tells whether the error grows straight.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2

from lab.metrology.arrays import non_negative, positive
from lab.metrology.errors import Degenerate, OutOfDomain, TooFew
from lab.metrology.thermal.length import (
    Expansion,
    Temperature,
    length_at_temperature,
)

__all__ = ["Bar", "Scale", "ScaleAtLength", "scale_at_length", "scale_from_bars"]

_SIGNIFICANT_IN_U = 2.0
_CONSISTENT_AT = 0.05


@dataclass(frozen=True, slots=True)
class Bar:
    """One bar as its certificate gives it and as the system read it.

    Standard uncertainties throughout. `u_common_mm` is the part of
    `u_length_mm` that all certificates of `laboratory` have in common. Bars with
    the same `sensor` share the error of their temperatures; bars with the same
    non-empty `expansion_source` share the error of their coefficients.
    """

    name: str
    length_mm: float
    u_length_mm: float
    reading_mm: float
    u_reading_mm: float
    expansion: Expansion
    temperature: Temperature
    laboratory: str
    sensor: str
    u_common_mm: float = 0.0
    expansion_source: str = ""

    def __post_init__(self) -> None:
        """Refuse impossible lengths and uncertainties."""
        positive(f"length_mm of {self.name!r}", self.length_mm)
        positive(f"reading_mm of {self.name!r}", self.reading_mm)
        non_negative(f"u_length_mm of {self.name!r}", self.u_length_mm)
        non_negative(f"u_reading_mm of {self.name!r}", self.u_reading_mm)
        common = non_negative(f"u_common_mm of {self.name!r}", self.u_common_mm)
        if common > self.u_length_mm:
            raise OutOfDomain(
                f"u_common_mm of {self.name!r} is {common:g}, more than the whole "
                f"u_length_mm {self.u_length_mm:g} of which it is a part."
            )


@dataclass(frozen=True, slots=True, eq=False)
class Scale:
    """The system's scale by its bars: reading = (1 + scale_error) · true length.

    `chi_squared`, `p_value` and `is_consistent` are None for a single bar, which
    nothing contradicts. `residuals` are the ratios minus their mean, by bar.
    """

    scale_error: float
    u_scale: float
    is_significant: bool
    ratios: NDArray[np.float64]
    weights: NDArray[np.float64]
    residuals: NDArray[np.float64]
    redundancy: int
    chi_squared: float | None
    p_value: float | None
    is_consistent: bool | None
    longest_bar_mm: float
    words: str


@dataclass(frozen=True, slots=True)
class ScaleAtLength:
    """What the scale does to a length, and how far that is extrapolated."""

    length_mm: float
    error_mm: float
    u_mm: float
    times_longest_bar: float
    is_extrapolated: bool


def scale_from_bars(bars: Sequence[Bar]) -> Scale:
    """Estimate a system's scale as the correlated mean over its bars.

    m = (1ᵀV⁻¹r) / (1ᵀV⁻¹1), u²(m) = 1 / (1ᵀV⁻¹1), for ratios r of covariance V.

    Parameters
    ----------
    bars : sequence of Bar
        One or more.

    Returns
    -------
    scale : Scale
        Weights and residuals have shape (N,), in the order of `bars`.

    Raises
    ------
    TooFew
        If there is no bar.
    OutOfDomain
        If two bars have one name.
    Degenerate
        If the covariance can't be inverted: no bar has an uncertainty of its own.

    Notes
    -----
    Under strong correlation a weight may be negative and the mean lie outside
    the ratios; that is right if the covariance is, and the weights show it.
    The consistency test is χ² of the residuals with N − 1 degrees of freedom at
    5 %; an inconsistent set is reported, and its uncertainty isn't widened here.

    References
    ----------
    .. [1] Cox, M. G. (2002). The evaluation of key comparison data. Metrologia
       39, 589-595 (weighted mean and its χ² test).
    .. [2] JCGM 100:2008, 5.2 (correlated inputs).

    Examples
    --------
    >>> steel, room = Expansion(11.5e-6, 1.2e-6), Temperature(20.0, 0.1)
    >>> bars = [
    ...     Bar("one", 500.0, 0.001, 500.005, 0.002, steel, room, "K", "T1"),
    ...     Bar("two", 1000.0, 0.002, 1000.01, 0.002, steel, room, "K", "T1")]
    >>> scale = scale_from_bars(bars)
    >>> round(scale.scale_error * 1e6, 3), scale.is_consistent
    (10.0, True)
    """
    if not bars:
        raise TooFew("bars is empty; a scale needs at least one calibrated bar.")
    names = [bar.name for bar in bars]
    if len(set(names)) != len(names):
        raise OutOfDomain("Two bars have one name; a bar may be entered once only.")
    true_mm = np.array(
        [
            length_at_temperature(
                bar.length_mm, bar.expansion, bar.temperature
            ).length_mm
            for bar in bars
        ]
    )
    ratios = np.array([bar.reading_mm for bar in bars]) / true_mm
    information = _information(_covariance(bars))
    u_squared = 1.0 / float(information.sum())
    weights = information.sum(axis=0) * u_squared
    mean = float(weights @ ratios)
    residuals = ratios - mean
    redundancy = len(bars) - 1
    chi_squared = float(residuals @ information @ residuals) if redundancy else None
    p_value = None if chi_squared is None else float(chi2.sf(chi_squared, redundancy))
    is_consistent = None if p_value is None else p_value >= _CONSISTENT_AT
    u_scale = u_squared**0.5
    is_significant = abs(mean - 1.0) > _SIGNIFICANT_IN_U * u_scale
    return Scale(
        scale_error=mean - 1.0,
        u_scale=u_scale,
        is_significant=is_significant,
        ratios=ratios,
        weights=weights,
        residuals=residuals,
        redundancy=redundancy,
        chi_squared=chi_squared,
        p_value=p_value,
        is_consistent=is_consistent,
        longest_bar_mm=max(bar.length_mm for bar in bars),
        words=_words(mean - 1.0, u_scale, is_significant, is_consistent),
    )


def scale_at_length(scale: Scale, length_mm: float) -> ScaleAtLength:
    """Carry a scale and its uncertainty to a length.

    Parameters
    ----------
    scale : Scale
        From `scale_from_bars`.
    length_mm : float
        The length of interest, in mm.

    Returns
    -------
    at_length : ScaleAtLength
        Error and uncertainty in mm, and how many times the longest bar it is.

    Examples
    --------
    >>> free, room = Expansion(0.0, 0.0), Temperature(20.0, 0.0)
    >>> bar = Bar("B", 500.0, 0.001, 500.005, 0.0, free, room, "K", "T1")
    >>> far = scale_at_length(scale_from_bars([bar]), 3000.0)
    >>> round(far.error_mm, 6), far.is_extrapolated
    (0.03, True)
    """
    length = positive("length_mm", length_mm)
    return ScaleAtLength(
        length_mm=length,
        error_mm=scale.scale_error * length,
        u_mm=scale.u_scale * length,
        times_longest_bar=length / scale.longest_bar_mm,
        is_extrapolated=length > scale.longest_bar_mm,
    )


def _covariance(bars: Sequence[Bar]) -> NDArray[np.float64]:
    """Covariance of the ratios: own terms on the diagonal, shared ones across."""
    lengths_mm = np.array([bar.length_mm for bar in bars])
    calibration = np.array([bar.u_length_mm for bar in bars]) / lengths_mm
    common = np.array([bar.u_common_mm for bar in bars]) / lengths_mm
    reading = np.array([bar.u_reading_mm for bar in bars]) / lengths_mm
    # A coefficient's error acts with the sign of ΔT, a sensor's with that of α.
    by_expansion = np.array(
        [bar.expansion.u_per_k * bar.temperature.from_reference_k for bar in bars]
    )
    by_sensor = np.array([bar.expansion.per_k * bar.temperature.u_k for bar in bars])
    shared = (
        _same(bars, lambda bar: bar.laboratory) * np.outer(common, common)
        + _same(bars, lambda bar: bar.sensor) * np.outer(by_sensor, by_sensor)
        + _same(bars, lambda bar: bar.expansion_source)
        * np.outer(by_expansion, by_expansion)
    )
    np.fill_diagonal(
        shared, calibration**2 + reading**2 + by_expansion**2 + by_sensor**2
    )
    return shared


def _same(bars: Sequence[Bar], label: Callable[[Bar], str]) -> NDArray[np.float64]:
    """Mark with 1 the pairs of bars that have one label; an empty one is nobody's."""
    labels = [label(bar) for bar in bars]
    return np.array(
        [[float(one == other and one != "") for other in labels] for one in labels]
    )


def _information(covariance: NDArray[np.float64]) -> NDArray[np.float64]:
    """Invert the covariance after scaling it, so that 1e-12 isn't called zero."""
    deviations = np.sqrt(np.diag(covariance))
    if not np.all(deviations > 0.0):
        raise Degenerate(
            "A bar has no uncertainty at all; give the uncertainty of its calibration."
        )
    correlation = covariance / np.outer(deviations, deviations)
    if np.linalg.cond(correlation) > 1e10:
        raise Degenerate(
            "The bars share their whole uncertainty, so that their ratios can't be "
            "weighed against each other; give each the repeatability of its reading."
        )
    inverse = np.linalg.inv(correlation)
    return np.asarray(inverse / np.outer(deviations, deviations), dtype=np.float64)


def _words(
    scale_error: float, u_scale: float, is_significant: bool, is_consistent: bool | None
) -> str:
    text = (
        f"The scale is off by {scale_error * 1e6:+.2f} µm/m with a standard "
        f"uncertainty of {u_scale * 1e6:.2f} µm/m, "
    )
    text += "which is significant" if is_significant else "which is not significant"
    if is_consistent is None:
        return f"{text}; a single bar, so there is no redundancy."
    if is_consistent:
        return f"{text}; the bars agree with each other."
    return f"{text}; the bars contradict each other: find the one that is wrong."
