"""What the functional core raises when it is handed something it cannot use."""

from __future__ import annotations


class MetrologyError(ValueError):
    """A refusal of the core: which item is wrong, and why, in one sentence.

    Subclasses name the kind of refusal; the message names the item. Nothing in
    the core drops or repairs bad input silently.
    """


class BadShape(MetrologyError):
    """An array has the wrong number of dimensions, rows or columns."""


class NotFinite(MetrologyError):
    """A value is NaN or infinite."""


class TooFew(MetrologyError):
    """There are fewer values, points or readings than the answer needs."""


class Degenerate(MetrologyError):
    """The geometry or the equations do not determine the answer."""


class BadUnit(MetrologyError):
    """A unit is unknown, or of another quantity than the one asked for."""


class OutOfDomain(MetrologyError):
    """A value lies where the formula or the rule does not hold."""
