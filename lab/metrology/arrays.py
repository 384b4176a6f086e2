"""What every function of the core does first: look at what it was handed.

One place decides what a list of points, a list of numbers and a single number
are, and how a refusal reads. Each message names the item, says what is wrong
with it and, for arrays, where the first wrong value stands, counted from zero.
Nothing is repaired and nothing is dropped.
"""

from __future__ import annotations

from decimal import Decimal
from numbers import Real
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lab.metrology.errors import BadShape, NotFinite, OutOfDomain, TooFew

__all__ = ["finite", "non_negative", "points", "positive", "same_length", "vector"]


def points(
    name: str, value: ArrayLike, minimum: int = 1, columns: int = 3
) -> NDArray[np.float64]:
    """Return an array of points as float64, or refuse it.

    Parameters
    ----------
    name : str
        What the array is called in a refusal.
    value : array_like, shape (N, columns)
        One point a row. It is not copied when it is float64 already, and never
        changed.
    minimum : int
        The fewest points that the caller can use.
    columns : int
        Coordinates of a point: 3 in space, 2 in a plane.

    Returns
    -------
    points : ndarray of float64, shape (N, columns)

    Raises
    ------
    BadShape
        If it isn't a table of numbers with that many columns.
    TooFew
        If there are fewer than `minimum` rows.
    NotFinite
        If a coordinate is NaN, infinite or masked.

    Examples
    --------
    >>> points("points_part_mm", [[0, 0, 0], [1, 0, 0]]).shape
    (2, 3)
    """
    array = _numbers(name, value)
    if array.ndim != 2 or array.shape[1] != columns:
        if array.size == 0 and minimum > 0:
            raise TooFew(f"{name} holds no points; at least {minimum} are needed.")
        raise BadShape(
            f"{name} must have shape (N, {columns}), one point a row; "
            f"it has shape {array.shape}."
        )
    _refuse_short(name, array, minimum, "points")
    _refuse_not_finite(name, array)
    return array


def vector(name: str, value: ArrayLike, minimum: int = 1) -> NDArray[np.float64]:
    """Return a list of numbers as a float64 array, or refuse it.

    Parameters
    ----------
    name : str
        What the list is called in a refusal.
    value : array_like, shape (N,)
        It is not copied when it is float64 already, and never changed.
    minimum : int
        The fewest values that the caller can use.

    Returns
    -------
    values : ndarray of float64, shape (N,)

    Raises
    ------
    BadShape
        If it isn't a plain list of numbers.
    TooFew
        If there are fewer than `minimum` values.
    NotFinite
        If a value is NaN, infinite or masked.

    Examples
    --------
    >>> vector("readings_degc", [20, 20.1]).tolist()
    [20.0, 20.1]
    """
    array = _numbers(name, value)
    if array.ndim != 1:
        raise BadShape(
            f"{name} must have shape (N,), a plain list of numbers; "
            f"it has shape {array.shape}."
        )
    _refuse_short(name, array, minimum, "values")
    _refuse_not_finite(name, array)
    return array


def same_length(**arrays: NDArray[Any]) -> int:
    """Return the common number of rows of several arrays, or refuse them.

    Parameters
    ----------
    **arrays : ndarray
        The arrays by the names that a refusal shall use.

    Returns
    -------
    rows : int

    Raises
    ------
    BadShape
        If two of them differ in their number of rows.

    Examples
    --------
    >>> same_length(points_a=np.zeros((4, 3)), weights=np.ones(4))
    4
    """
    lengths = {name: len(array) for name, array in arrays.items()}
    if len(set(lengths.values())) != 1:
        listed = ", ".join(f"{name} has {rows}" for name, rows in lengths.items())
        raise BadShape(f"These must be equally long: {listed}.")
    return next(iter(lengths.values()))


def finite(name: str, value: float) -> float:
    """Return a single finite number as a float, or refuse it.

    Parameters
    ----------
    name : str
        What the number is called in a refusal.
    value : float
        The number.

    Returns
    -------
    value : float

    Raises
    ------
    BadShape
        If it isn't one real number.
    NotFinite
        If it is NaN or infinite.

    Examples
    --------
    >>> finite("length_mm", 500)
    500.0
    """
    array = _numbers(name, value)
    if array.ndim != 0:
        raise BadShape(f"{name} must be a single number; it has shape {array.shape}.")
    number = float(array)
    if not np.isfinite(number):
        raise NotFinite(f"{name} is {number}; it must be a finite number.")
    return number


def positive(name: str, value: float) -> float:
    """Return a single number above zero as a float, or refuse it.

    Parameters
    ----------
    name : str
        What the number is called in a refusal.
    value : float
        The number.

    Returns
    -------
    value : float

    Raises
    ------
    BadShape, NotFinite
        As `finite` does.
    OutOfDomain
        If it is zero or below.

    Examples
    --------
    >>> positive("radius_mm", 12.5)
    12.5
    """
    number = finite(name, value)
    if number <= 0.0:
        raise OutOfDomain(f"{name} is {number:g}; it must be greater than zero.")
    return number


def non_negative(name: str, value: float) -> float:
    """Return a single number that is zero or above as a float, or refuse it.

    Parameters
    ----------
    name : str
        What the number is called in a refusal.
    value : float
        The number.

    Returns
    -------
    value : float

    Raises
    ------
    BadShape, NotFinite
        As `finite` does.
    OutOfDomain
        If it is below zero.

    Examples
    --------
    >>> non_negative("u_mm", 0)
    0.0
    """
    number = finite(name, value)
    if number < 0.0:
        raise OutOfDomain(f"{name} is {number:g}; it must not be negative.")
    return number


def _numbers(name: str, value: ArrayLike) -> NDArray[np.float64]:
    """Turn `value` into float64 without letting text, dates or complex slip in."""
    if isinstance(value, np.ma.MaskedArray) and np.ma.is_masked(value):
        raise NotFinite(f"{name} has masked values; leave them out knowingly instead.")
    try:
        array = np.asarray(value)
    except ValueError as ragged:
        raise BadShape(f"{name} has rows of unequal length.") from ragged
    if array.dtype.kind not in "fiu" and array.size > 0:
        array = _objects(name, array)
    return array.astype(np.float64, copy=False)


def _objects(name: str, array: NDArray[np.generic]) -> NDArray[np.float64]:
    """Accept numbers that arrive as Python objects (Decimal, Fraction) only."""
    if array.dtype.kind == "O" and all(
        isinstance(item, (Real, Decimal)) and not isinstance(item, bool)
        for item in array.flat
    ):
        try:
            return array.astype(np.float64)
        except (TypeError, ValueError, OverflowError):
            pass
    raise BadShape(f"{name} must hold real numbers; it holds {array.dtype.name}.")


def _refuse_short(
    name: str, array: NDArray[np.float64], minimum: int, noun: str
) -> None:
    if len(array) < minimum:
        raise TooFew(
            f"{name} holds {len(array)} {noun}; at least {minimum} are needed."
        )


def _refuse_not_finite(name: str, array: NDArray[np.float64]) -> None:
    # The sum is finite unless a term is not, or it overflows: one pass in the
    # common case, and the slower look only when something may be wrong.
    with np.errstate(over="ignore", invalid="ignore"):
        if np.isfinite(array.sum()):
            return
    wrong = np.argwhere(~np.isfinite(array))
    if len(wrong):
        first = tuple(int(index) for index in wrong[0])
        where = first[0] if len(first) == 1 else first
        raise NotFinite(
            f"{name} holds {len(wrong)} value(s) that are not finite; the first, "
            f"{array[first]}, stands at {where}."
        )
