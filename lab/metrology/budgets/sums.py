r"""A length put together from several, with what they share.

Terms of one source are one quantity: their contributions add with their signs, as
perfectly correlated ones do (JCGM 100:2008, 5.2.2, Note 1), and in a difference they
cancel. Terms without a source are each length's own. The scale must name its source.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from lab.metrology.budgets.ready import ReadyBudget
from lab.metrology.budgets.terms import Characteristic, Term, TermKind
from lab.metrology.errors import BadShape, MetrologyError, OutOfDomain

__all__ = ["SourceNotNamed", "SourcesDisagree", "summed_length"]

_SHARED_BY_NATURE = frozenset(
    {
        TermKind.SYSTEM_SCALE,
        TermKind.SCALE_TEMPERATURE,
        TermKind.SCALE_EXPANSION,
        TermKind.PART_TEMPERATURE,
        TermKind.PART_EXPANSION,
        TermKind.ARTEFACT_CALIBRATION,
    }
)


class SourceNotNamed(MetrologyError):
    """A term that lengths share by nature, without the name of its cause."""


class SourcesDisagree(MetrologyError):
    """One source with two different distributions."""


def summed_length(
    parts: Sequence[ReadyBudget], signs: Sequence[int] | None = None
) -> ReadyBudget:
    """Put a length together from several ready budgets.

    Parameters
    ----------
    parts : sequence of ReadyBudget
        Two or more lengths, all under the same kind of instrument model.
    signs : sequence of int, optional
        +1 or -1 for each; all +1 if left out.

    Returns
    -------
    ReadyBudget

    Raises
    ------
    BadShape
        If there are fewer than two, or the signs do not match.
    OutOfDomain
        If a part is no length, or they have different kinds of instrument model.
    SourceNotNamed, SourcesDisagree
        If a shared cause has no name, or two different distributions.

    Notes
    -----
    A stated MPE (model A) is a limit for each length by itself and names no common
    cause; its term is taken as perfectly correlated too, which for a sum is never too
    small. For a difference of two such lengths it would cancel without a reason, so
    there it is added as independent.

    Examples
    --------
    >>> from lab.metrology.budgets import Components, PartThermal, Repeatability
    >>> from lab.metrology.budgets import length_budget, sampling_term
    >>> from lab.metrology.thermal import Expansion, Temperature
    >>> parts = [
    ...     length_budget(
    ...         length,
    ...         Components(
    ...             Repeatability(0.0, 50, 1), 0.0, 10e-6, "bar 1", None, 0.0, 0.0
    ...         ),
    ...         PartThermal(
    ...             Expansion(11.5e-6, 0.0), Temperature(20.0, 0.0), is_corrected=True,
    ...             shared_bar=Expansion(11.5e-6, 0.0), bar_source="bar 1",
    ...         ),
    ...         [sampling_term(0.0, 1, feature="faces")],
    ...     )
    ...     for length in (600.0, 400.0)
    ... ]
    >>> round(summed_length(parts).combine().u, 4)
    0.01
    """
    weights = [1] * len(parts) if signs is None else list(signs)
    _check(parts, weights)
    shared: dict[str, list[Term]] = {}
    own: list[Term] = []
    for number, (part, sign) in enumerate(zip(parts, weights, strict=True), start=1):
        for term in part.terms:
            source = _source(term, weights)
            signed = _signed(term, sign, f"length {number}: {term.name}")
            if source:
                shared.setdefault(source, []).append(signed)
            else:
                own.append(signed)
    terms = [_merged(source, group) for source, group in shared.items()] + own
    measured = math.fsum(
        sign * part.measured for part, sign in zip(parts, weights, strict=True)
    )
    return ReadyBudget(
        characteristic=Characteristic.LENGTH,
        measured=measured,
        corrected=measured + math.fsum(each.correction for each in terms),
        unit=parts[0].unit,
        instrument=parts[0].instrument,
        statement="; ".join(dict.fromkeys(part.statement for part in parts)),
        terms=tuple(terms),
    )


def _check(parts: Sequence[ReadyBudget], signs: Sequence[int]) -> None:
    if len(parts) < 2:
        raise BadShape(f"A sum needs at least two lengths, got {len(parts)}.")
    if len(signs) != len(parts) or any(sign not in (-1, 1) for sign in signs):
        raise BadShape(f"signs must be +1 or -1 for each length, got {list(signs)}.")
    for part in parts:
        if part.characteristic is not Characteristic.LENGTH:
            raise OutOfDomain(
                f"A {part.characteristic.value} is no length to be summed."
            )
    models = {part.instrument for part in parts}
    if len(models) > 1:
        raise OutOfDomain(
            f"The lengths have different instrument models ({', '.join(sorted(models))}"
            "), so that what they share is not known."
        )


def _source(term: Term, signs: Sequence[int]) -> str:
    if term.kind is TermKind.INSTRUMENT and len(set(signs)) == 1:
        return "the instrument's maximum permissible error"
    if term.kind in _SHARED_BY_NATURE and not term.source:
        raise SourceNotNamed(
            f"{term.name}: name its source, so that lengths which share it are taken "
            "as perfectly correlated."
        )
    return term.source


def _signed(term: Term, sign: int, name: str) -> Term:
    return Term(
        kind=term.kind,
        name=name,
        distribution=term.distribution,
        sensitivity=sign * term.sensitivity,
        correction=sign * term.correction,
        degrees_of_freedom=term.degrees_of_freedom,
        source=term.source,
        unit=term.unit,
    )


def _merged(source: str, group: Sequence[Term]) -> Term:
    first = group[0]
    if first.kind is TermKind.INSTRUMENT:
        # The limits grow with length, so the distributions differ in width: the sum of
        # fully correlated ones is in units of the first.
        base = first.distribution.standard_uncertainty
        together = math.fsum(each.contribution for each in group)
        sensitivity = together / base
    else:
        if any(each.distribution != first.distribution for each in group):
            raise SourcesDisagree(
                f"{source} has different uncertainties in different lengths; one cause "
                "has one."
            )
        sensitivity = math.fsum(each.sensitivity for each in group)
    return Term(
        kind=first.kind,
        name=source,
        distribution=first.distribution,
        sensitivity=sensitivity,
        correction=math.fsum(each.correction for each in group),
        degrees_of_freedom=first.degrees_of_freedom,
        source=source,
        unit=first.unit,
    )
