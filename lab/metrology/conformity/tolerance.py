"""What is required: a tolerance, and how a form value was evaluated."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from lab.metrology.decimals import exact
from lab.metrology.errors import MetrologyError, OutOfDomain

__all__ = [
    "ConditionsNotStated",
    "Evaluation",
    "MaterialCondition",
    "NotEvaluable",
    "Tolerance",
    "require_evaluable",
]


class ConditionsNotStated(MetrologyError):
    """A form, position or profile value without its points, filter and association."""


class NotEvaluable(MetrologyError):
    """A condition of the drawing that is not evaluated here, and so is refused."""


@dataclass(frozen=True, slots=True)
class Tolerance:
    """A lower limit, an upper limit, or both, as typed.

    Parameters
    ----------
    lower, upper : Decimal or None
        The tolerance limits in the unit of the values (millimetres for lengths).
    non_negative : bool
        True for form, flatness, position and profile: the characteristic cannot be
        below zero, noise biases it upward, and only an upper limit makes sense.

    Raises
    ------
    OutOfDomain
        If both limits are missing, a limit is a float (it would carry a binary
        rounding into an exact comparison), the tolerance is upside down, or a
        non-negative characteristic has a lower limit or an upper one below zero.

    Examples
    --------
    >>> Tolerance(Decimal("9.95"), Decimal("10.05")).width
    Decimal('0.10')
    >>> Tolerance(None, Decimal("0.05"), non_negative=True).width is None
    True
    """

    lower: Decimal | None
    upper: Decimal | None
    non_negative: bool = False

    def __post_init__(self) -> None:
        """Refuse a tolerance that no value could be judged against."""
        for name, limit in (("lower", self.lower), ("upper", self.upper)):
            _require_exact(name, limit)
        if self.lower is None and self.upper is None:
            msg = "A tolerance needs a lower limit, an upper limit, or both."
            raise OutOfDomain(msg)
        width = self.width
        if width is not None and width <= 0:
            msg = (
                f"The tolerance is upside down: its lower limit {self.lower} is not "
                f"below its upper limit {self.upper}."
            )
            raise OutOfDomain(msg)
        if self.non_negative:
            self._require_upper_only()

    def _require_upper_only(self) -> None:
        if self.lower is not None or self.upper is None or self.upper <= 0:
            msg = (
                "A form, position or profile tolerance has an upper limit above zero "
                f"and no lower one; got lower {self.lower} and upper {self.upper}."
            )
            raise OutOfDomain(msg)

    @classmethod
    def around(
        cls, nominal: Decimal, lower_deviation: Decimal, upper_deviation: Decimal
    ) -> Tolerance:
        """Build the limits from a nominal value and its two deviations, exactly.

        Examples
        --------
        >>> Tolerance.around(Decimal("10.1"), Decimal("-0.2"), Decimal("0.2")).upper
        Decimal('10.3')
        """
        for name, term in (
            ("nominal", nominal),
            ("lower_deviation", lower_deviation),
            ("upper_deviation", upper_deviation),
        ):
            _require_exact(name, term)
        return cls(nominal + lower_deviation, nominal + upper_deviation)

    @property
    def width(self) -> Decimal | None:
        """The tolerance T between both limits; None if there is only one."""
        if self.lower is None or self.upper is None:
            return None
        return self.upper - self.lower


@dataclass(frozen=True, slots=True)
class Evaluation:
    """How a form, position or profile value was evaluated; printed beside it.

    The value grows with the number of points and shrinks under a filter, so it means
    nothing without both. ``association`` is the fit, such as ``minimum zone``.

    Examples
    --------
    >>> Evaluation(2400, "Gaussian low-pass 2.5 mm", "minimum zone").text
    '2400 points, filter: Gaussian low-pass 2.5 mm, association: minimum zone'
    """

    number_of_points: int
    filter_text: str
    association: str

    def __post_init__(self) -> None:
        """Refuse an evaluation that leaves one of the three unsaid."""
        if self.number_of_points < 1:
            msg = f"number_of_points must be at least 1, got {self.number_of_points}."
            raise OutOfDomain(msg)
        for name, words in (
            ("filter_text", self.filter_text),
            ("association", self.association),
        ):
            if not words.strip():
                msg = f"{name} must be stated; write 'none' where there is none."
                raise ConditionsNotStated(msg)

    @property
    def text(self) -> str:
        """The three in one printed phrase."""
        return (
            f"{self.number_of_points} points, filter: {self.filter_text}, "
            f"association: {self.association}"
        )


class MaterialCondition(StrEnum):
    """How a geometric tolerance depends on the size of its feature (ISO 2692)."""

    REGARDLESS = "regardless of feature size"
    MAXIMUM_MATERIAL = "maximum material requirement"
    LEAST_MATERIAL = "least material requirement"
    RECIPROCITY = "reciprocity requirement"


def require_evaluable(condition: MaterialCondition, characteristic: str) -> None:
    """Refuse a material condition: its bonus depends on a size that is not fused here.

    Raises
    ------
    NotEvaluable
        For anything but ``REGARDLESS``.

    Examples
    --------
    >>> require_evaluable(MaterialCondition.REGARDLESS, "position of bore 3")
    """
    if condition is not MaterialCondition.REGARDLESS:
        msg = (
            f"{characteristic}: the {condition.value} (ISO 2692) adds a bonus that is "
            "not evaluated here. Agree a tolerance regardless of feature size with the "
            "customer, or have the characteristic gauged elsewhere."
        )
        raise NotEvaluable(msg)


def _require_exact(name: str, limit: Decimal | None) -> None:
    if limit is None:
        return
    if not isinstance(limit, Decimal):
        msg = f"{name} must be a Decimal made from the text typed, got {limit!r}."
        raise OutOfDomain(msg)
    exact(name, limit)
