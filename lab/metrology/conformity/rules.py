r"""Decision rules: what was agreed at contract review.

=====================  ==========================================================
``simple``             simple acceptance, w = 0 (ILAC-G8:09/2019, 4.2.1; JCGM 106,
                       8.2): pass or fail
``guarded``            binary statement with guard band :math:`w = r\,U`
                       (ILAC-G8:09/2019, 4.2.2): pass or fail
``guarded_conditional``  the same with conditional pass and conditional fail
                       between (ILAC-G8:09/2019, 4.2.3)
``probability``        pass if the conformance probability is at least p, that is
                       :math:`w = z(p)\,u` (JCGM 106, 8.3)
``iso_14253_1``        ISO 14253-1:2017: conformity proven, nonconformity proven,
                       or neither; p = 95 % unless agreed otherwise
=====================  ==========================================================

The clause numbers are from memory. A value exactly on a limit goes to the better
zone; the guides leave ties open.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from lab.metrology.decimals import exact
from lab.metrology.errors import OutOfDomain

__all__ = ["Burden", "Rule", "RuleKind", "Verdict"]


class RuleKind(StrEnum):
    """The kinds of decision rule."""

    SIMPLE = "simple"
    GUARDED = "guarded"
    GUARDED_CONDITIONAL = "guarded_conditional"
    PROBABILITY = "probability"
    ISO_14253_1 = "iso_14253_1"


class Burden(StrEnum):
    """Who must prove what (ISO 14253-1); agreed at booking.

    ``CONFORMITY``: the party that delivers proves that the item conforms.
    ``NONCONFORMITY``: the party that receives proves that it does not.
    """

    CONFORMITY = "conformity"
    NONCONFORMITY = "nonconformity"


class Verdict(StrEnum):
    """What a decision says; the values are the words that are printed."""

    PASS = "pass"  # noqa: S105 (a verdict)
    CONDITIONAL_PASS = "conditional pass"  # noqa: S105 (a verdict)
    CONDITIONAL_FAIL = "conditional fail"
    FAIL = "fail"
    CONFORMITY_PROVEN = "conformity proven"
    NONCONFORMITY_PROVEN = "nonconformity proven"
    NEITHER_PROVEN = "neither conformity nor nonconformity proven"


@dataclass(frozen=True, slots=True)
class Rule:
    r"""A decision rule as agreed.

    Parameters
    ----------
    kind : RuleKind or str
        One of the five kinds.
    guard_factor : Decimal, optional
        r of :math:`w = r\,U` for the guarded kinds, from -1 (a value is failed only
        when it is out of tolerance by U or more) to 3. With conditional verdicts it
        must be above zero.
    probability : Decimal, optional
        p of the probability kinds, from 0.5 to below 1. ISO 14253-1 takes 0.95
        where none is agreed.
    burden : Burden or str, optional
        For ISO 14253-1: which proof is owed.

    Raises
    ------
    OutOfDomain
        If a number is missing, out of its range, or given to a kind that has none.

    Examples
    --------
    >>> Rule("guarded", guard_factor=Decimal("1")).binary
    True
    >>> Rule("iso_14253_1", burden="conformity").probability
    Decimal('0.95')
    """

    kind: RuleKind
    guard_factor: Decimal | None = None
    probability: Decimal | None = None
    burden: Burden | None = None

    def __post_init__(self) -> None:
        """Check that the rule has exactly the numbers that its kind needs."""
        self._take_kind()
        self._check_guard_factor()
        self._check_probability()
        self._check_burden()

    @property
    def binary(self) -> bool:
        """Whether the rule knows two verdicts only."""
        return self.kind not in (RuleKind.GUARDED_CONDITIONAL, RuleKind.ISO_14253_1)

    @property
    def by_probability(self) -> bool:
        """Whether the rule is stated as a probability of conformity."""
        return self.kind in (RuleKind.PROBABILITY, RuleKind.ISO_14253_1)

    def _take_kind(self) -> None:
        try:
            object.__setattr__(self, "kind", RuleKind(self.kind))
        except ValueError:
            kinds = ", ".join(RuleKind)
            msg = f"kind of a rule must be one of {kinds}; got {self.kind!r}."
            raise OutOfDomain(msg) from None

    def _check_guard_factor(self) -> None:
        guarded = self.kind in (RuleKind.GUARDED, RuleKind.GUARDED_CONDITIONAL)
        if (self.guard_factor is not None) != guarded:
            word = "needs" if guarded else "takes no"
            msg = f"A rule of the kind {self.kind} {word} guard_factor."
            raise OutOfDomain(msg)
        if self.guard_factor is None:
            return
        factor = exact("guard_factor", self.guard_factor)
        object.__setattr__(self, "guard_factor", factor)
        if not -1 <= factor <= 3:
            msg = f"guard_factor must lie within -1 and 3, got {factor}."
            raise OutOfDomain(msg)
        if self.kind is RuleKind.GUARDED_CONDITIONAL and factor <= 0:
            msg = f"Conditional verdicts need a guard_factor above zero, got {factor}."
            raise OutOfDomain(msg)

    def _check_probability(self) -> None:
        if self.kind is RuleKind.ISO_14253_1 and self.probability is None:
            object.__setattr__(self, "probability", Decimal("0.95"))
        if (self.probability is not None) != self.by_probability:
            word = "needs a" if self.by_probability else "takes no"
            msg = f"A rule of the kind {self.kind} {word} probability."
            raise OutOfDomain(msg)
        if self.probability is None:
            return
        probability = exact("probability", self.probability)
        object.__setattr__(self, "probability", probability)
        if not Decimal("0.5") <= probability < 1:
            msg = f"probability must lie within 0.5 and below 1, got {probability}."
            raise OutOfDomain(msg)

    def _check_burden(self) -> None:
        if (self.burden is not None) != (self.kind is RuleKind.ISO_14253_1):
            msg = (
                "burden (who must prove what) belongs to the kind iso_14253_1, and is "
                f"needed there; got {self.burden!r} for {self.kind}."
            )
            raise OutOfDomain(msg)
        if self.burden is None:
            return
        try:
            object.__setattr__(self, "burden", Burden(self.burden))
        except ValueError:
            burdens = ", ".join(Burden)
            msg = f"burden must be one of {burdens}; got {self.burden!r}."
            raise OutOfDomain(msg) from None
