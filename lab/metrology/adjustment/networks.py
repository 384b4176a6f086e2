"""Networks of levelled heights, and a point from its distances.

A level network has height differences as observations and the heights of its points
as parameters; at least one height is held. A trilateration has distances from known
stations as observations and the coordinates of one point as parameters.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lab.metrology import arrays
from lab.metrology.adjustment.least_squares import (
    Adjustment,
    adjust,
    adjust_nonlinear,
)
from lab.metrology.errors import BadShape, Degenerate, OutOfDomain, TooFew

__all__ = [
    "HeightDifference",
    "LevelNetwork",
    "Trilateration",
    "level_network",
    "trilaterate",
]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class HeightDifference:
    """One levelled difference: height of `to` minus height of `start`.

    The weight is one over the variance, up to a common factor; for a levelled run
    it is taken as one over its length.
    """

    start: str
    to: str
    difference: float
    weight: float = 1.0


@dataclass(frozen=True, slots=True)
class LevelNetwork:
    """Adjusted heights, in the unit of the differences.

    Attributes
    ----------
    heights : mapping of str to float
        Every point that was not held.
    u_heights : mapping of str to float
        Their standard uncertainties, from the scatter of the observations; empty
        where there is no redundancy.
    adjustment : Adjustment
        The least-squares answer, parameters in the order of `heights`.
    """

    heights: Mapping[str, float]
    u_heights: Mapping[str, float]
    adjustment: Adjustment


@dataclass(frozen=True, slots=True)
class Trilateration:
    """A point found from distances, in their unit.

    Attributes
    ----------
    position : ndarray, shape (D,)
        The adjusted coordinates.
    adjustment : Adjustment
        The least-squares answer; its parameters are the coordinates.
    iterates : ndarray, shape (K, D)
        The start and the position after each step.
    """

    position: Array
    adjustment: Adjustment
    iterates: Array


def level_network(
    observations: Iterable[HeightDifference], held: Mapping[str, float]
) -> LevelNetwork:
    """Adjust a network of height differences.

    Parameters
    ----------
    observations : iterable of HeightDifference
        The levelled differences.
    held : mapping of str to float
        The known heights; at least one.

    Returns
    -------
    LevelNetwork
        The heights of all other points.

    Raises
    ------
    TooFew
        If no height is held, or there is nothing to adjust.
    Degenerate
        If a point is not tied to a held height; it is named.
    OutOfDomain, NotFinite
        If a weight is not positive or a value is not finite.

    References
    ----------
    .. [1] Mikhail, E. M., and Ackermann, F. (1976). Observations and Least
       Squares. New York: IEP, examples 7.4 and 7.11.
    .. [2] Ghilani, C. D. Adjustment Computations: Spatial Data Analysis, ch. 12.

    Examples
    --------
    >>> runs = [
    ...     HeightDifference("A", "B", 1.02),
    ...     HeightDifference("B", "C", 2.01),
    ...     HeightDifference("A", "C", 3.00),
    ... ]
    >>> network = level_network(runs, {"A": 10.0})
    >>> {name: round(height, 3) for name, height in network.heights.items()}
    {'B': 11.01, 'C': 13.01}
    """
    listed = tuple(observations)
    if not held:
        raise TooFew("No height is held; at least one known height is needed.")
    named = dict.fromkeys(name for each in listed for name in (each.start, each.to))
    unknown = [name for name in named if name not in held]
    if not unknown:
        raise TooFew("Every height is held, so there is nothing to adjust.")
    _refuse_untied(listed, held, unknown)
    column = {name: index for index, name in enumerate(unknown)}
    design = np.zeros((len(listed), len(unknown)))
    reduced = np.array([each.difference for each in listed], dtype=np.float64)
    for row, each in enumerate(listed):
        for name, sign in ((each.to, 1.0), (each.start, -1.0)):
            if name in column:
                design[row, column[name]] += sign
            else:
                reduced[row] -= sign * arrays.finite(f"height of {name}", held[name])
    weights = [each.weight for each in listed]
    adjustment = adjust(design, reduced, weights=weights)
    uncertainties: dict[str, float] = {}
    if adjustment.degrees_of_freedom:
        uncertainties = dict(
            zip(unknown, adjustment.u_parameters.tolist(), strict=True)
        )
    return LevelNetwork(
        heights=dict(zip(unknown, adjustment.parameters.tolist(), strict=True)),
        u_heights=uncertainties,
        adjustment=adjustment,
    )


def _refuse_untied(
    listed: tuple[HeightDifference, ...], held: Mapping[str, float], unknown: list[str]
) -> None:
    tied = set(held)
    waiting = list(listed)
    while True:
        reached = [each for each in waiting if each.start in tied or each.to in tied]
        if not reached:
            break
        tied.update(name for each in reached for name in (each.start, each.to))
        waiting = [each for each in waiting if each not in reached]
    if loose := [name for name in unknown if name not in tied]:
        raise Degenerate(
            f"No chain of differences ties {', '.join(loose)} to a held height."
        )


def trilaterate(
    stations: ArrayLike,
    distances: ArrayLike,
    start: ArrayLike,
    *,
    weights: ArrayLike | None = None,
) -> Trilateration:
    r"""Find a point from its distances to known stations.

    Minimises :math:`\sum w_i (d_i - |x - s_i|)^2` by Gauss-Newton.

    Parameters
    ----------
    stations : array_like, shape (N, D)
        Known points, in a plane (D = 2) or in space (D = 3); N >= D.
    distances : array_like, shape (N,)
        Measured distances, all positive, in the unit of the stations.
    start : array_like, shape (D,)
        Where the iteration starts: on the right side of the stations' line or
        plane, whose mirror image gives the same distances.
    weights : array_like, shape (N,), optional
        One over the variance of each distance. Default 1.

    Returns
    -------
    Trilateration
        The point, its covariance and the steps that led to it.

    Raises
    ------
    BadShape, NotFinite, OutOfDomain
        If the arrays do not fit, or a distance is not positive.
    TooFew
        If there are fewer stations than coordinates.
    Degenerate
        If the start is on a station, or the directions to the stations do not
        span the space.
    NotConverged
        If the iteration does not settle.

    References
    ----------
    .. [1] Mikhail, E. M., and Ackermann, F. (1976). Observations and Least
       Squares. New York: IEP, example 9.1.

    Examples
    --------
    >>> found = trilaterate([[0, 5], [0, 0], [5, 0]], [5.1, 7.07, 4.9], [5, 5])
    >>> found.position.round(4).tolist()
    [5.0986, 4.8986]
    """
    origin = arrays.vector("start", start, minimum=2)
    known = arrays.points("stations", stations, columns=len(origin))
    measured = arrays.vector("distances", distances)
    count = arrays.same_length(stations=known, distances=measured)
    if len(origin) > 3:
        raise BadShape(f"start must have 2 or 3 coordinates; it has {len(origin)}.")
    if count < len(origin):
        raise TooFew(f"{len(origin)} coordinates need as many stations, not {count}.")
    if np.any(measured <= 0):
        worst = int(np.argmin(measured))
        raise OutOfDomain(f"Distance {worst} is {measured[worst]:g}, not positive.")

    def model(position: Array) -> Array:
        lengths: Array = np.linalg.norm(position - known, axis=1)
        return lengths

    def jacobian(position: Array) -> Array:
        lengths = model(position)
        if np.any(lengths == 0):
            raise Degenerate(
                f"The point lies on station {int(np.argmin(lengths))}, where a "
                "distance has no direction; start elsewhere."
            )
        directions: Array = (position - known) / lengths[:, None]
        return directions

    solved = adjust_nonlinear(model, jacobian, measured, origin, weights=weights)
    return Trilateration(
        position=solved.adjustment.parameters,
        adjustment=solved.adjustment,
        iterates=solved.iterates,
    )
