"""What a typed result means under an agreement: computed by the core, kept as text."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Final

from lab.common.jsontext import canonical_text
from lab.inspections.entries import ResultEntry
from lab.inspections.models import Result
from lab.jobs.models import Agreement
from lab.laboratory.models import CharacteristicKind
from lab.metrology import conformity
from lab.metrology.decimals import exact
from lab.metrology.errors import MetrologyError, OutOfDomain
from lab.metrology.rounding import (
    PrintedResult,
    print_coverage_factor,
    print_limit,
    print_probability,
    print_quantity,
    reported_expanded_u,
)
from lab.metrology.thermal import Expansion, Temperature, length_at_reference

SCHEMA: Final = 1
#: Kinds that grow with the part's temperature by its whole expansion.
EXPANDING: Final = frozenset({CharacteristicKind.LENGTH, CharacteristicKind.DIAMETER})
State = Result.TemperatureState
Limits = tuple[Decimal | None, Decimal | None]


class NotAtReference(OutOfDomain):
    """A length as measured against a drawing that holds at 20 °C."""


@dataclass(frozen=True, slots=True)
class Decided:
    """A result as it is printed, with its verdict (empty without a rule) and why."""

    verdict: str
    printed: PrintedResult
    details: dict[str, Any]

    @property
    def accepts(self) -> bool | None:
        """Tell whether the item is accepted; None where nothing is stated."""
        return self.details["accepts"]  # type: ignore[no-any-return]

    def columns(self) -> dict[str, Any]:
        """Return the columns of the record, all but of which result."""
        return {
            "verdict": self.verdict,
            "printed_value": self.printed.value_text,
            "printed_u": self.printed.expanded_u_text,
            "printed_unit": self.printed.unit,
            "details_text": canonical_text(self.details),
        }


def decided(
    entry: ResultEntry, *, agreement: Agreement, unit: str, cmc: Decimal | None
) -> Decided:
    """Decide one entry under an agreement.

    Parameters
    ----------
    entry : ResultEntry
    agreement : Agreement
        Its rule decides; without one the result is printed and nothing stated.
    unit : str
        The job's unit of length, in which it is printed.
    cmc : Decimal or None
        Smallest U that the method claims for the characteristic, in the base unit; U
        is raised to it. None outside the method's scope and for others' results.

    Raises
    ------
    NotAcceptable
        Naming item and characteristic, if the core refuses: U leaves nothing to
        accept, a length as measured stands against limits at 20 °C, and the like.
    """
    try:
        return _decided(entry, agreement, _unit_for(entry, unit), cmc)
    except MetrologyError as refusal:
        raise entry.refused(refusal) from None


def _decided(
    entry: ResultEntry, agreement: Agreement, unit: str, cmc: Decimal | None
) -> Decided:
    value, correction = _at_reference(entry, agreement)
    expanded_u, factor = entry.expanded_u.value, entry.coverage_factor
    details: dict[str, Any] = {
        "schema": SCHEMA,
        "value": exact("value", value),
        "expanded_u": reported_expanded_u(expanded_u, cmc),
        "base_unit": entry.value.kind.base,
        "coverage_factor": factor,
        "coverage_factor_text": print_coverage_factor(factor),
        "cmc": cmc,
        "raised_to_cmc": cmc is not None and expanded_u < cmc,
        "correction": correction,
        "evaluation": entry.evaluation.text if entry.evaluation else "",
    }
    if agreement.rule is None:
        printed = print_quantity(value, expanded_u, unit=unit, cmc=cmc)
        details |= _tolerance_in_words(entry, printed) | NOTHING_STATED
        return Decided("", printed, details)
    rule = agreement.rule.as_rule(agreement.burden or None)
    decision = conformity.decide(
        value,
        expanded_u,
        factor,
        entry.characteristic.tolerance,
        rule,
        unit=unit,
        cmc=cmc,
        evaluation=entry.evaluation,
    )
    details |= _tolerance_in_words(entry, decision.printed)
    details |= _statement(decision, conformity.rule_text(rule))
    return Decided(decision.verdict.value, decision.printed, details)


def _unit_for(entry: ResultEntry, unit: str) -> str:
    return "°" if entry.characteristic.is_angle else unit


def _at_reference(
    entry: ResultEntry, agreement: Agreement
) -> tuple[Decimal | float, dict[str, str] | None]:
    """Return the value to judge, and what was done to bring it to 20 °C (ISO 1)."""
    expands = entry.characteristic.kind in EXPANDING
    if entry.temperature_state == State.AT_REFERENCE:
        return entry.value.value, None
    if entry.temperature_state == State.AS_MEASURED:
        if expands and agreement.rule is not None:
            raise NotAtReference(
                "The drawing holds at 20 °C (ISO 1), and this length is as measured. "
                "Bring it to 20 °C before it is judged."
            )
        return entry.value.value, None
    if not expands:
        raise NotAtReference(
            "Only lengths and diameters are brought to 20 °C here; for this kind, say "
            "that the software did it or that the value is as measured."
        )
    return _corrected(entry, agreement)


def _corrected(
    entry: ResultEntry, agreement: Agreement
) -> tuple[float, dict[str, str]]:
    part, warmth = agreement.part_revision, entry.part_temperature
    if warmth is None:
        raise NotAtReference("The part's temperature is missing.")
    brought = length_at_reference(
        float(entry.value.value),
        Expansion(float(part.expansion.value), float(part.expansion_u.value)),
        Temperature(float(warmth.value), 0.0),
    )
    share = brought.u_from_expansion_mm * float(entry.coverage_factor)
    if share > float(entry.expanded_u.value):
        raise OutOfDomain(
            f"U = {entry.expanded_u} is smaller than what the uncertain expansion of "
            f"{part.material} alone brings at {warmth}. Widen it, or measure nearer to "
            "20 °C."
        )
    return brought.length_mm, {
        "from": str(entry.value),
        "at": str(warmth),
        "expansion": str(part.expansion),
        "expansion_u": str(part.expansion_u),
    }


# --- In words ---------------------------------------------------------------------

NOTHING_STATED: Final[dict[str, Any]] = {
    "accepts": None,
    "acceptance_lower": None,
    "acceptance_upper": None,
    "acceptance_text": "",
    "outer_lower": None,
    "outer_upper": None,
    "conformance_probability": None,
    "conformance_probability_text": "",
    "specific_risk": None,
    "specific_risk_text": "",
    "burden_met": None,
    "test_uncertainty_ratio": None,
    "capability_index": None,
    "rule_text": "",
    "sentence": "",
}


def _tolerance_in_words(entry: ResultEntry, printed: PrintedResult) -> dict[str, Any]:
    tolerance = entry.characteristic.tolerance
    limits = (tolerance.lower, tolerance.upper)
    return {
        "tolerance_lower": tolerance.lower,
        "tolerance_upper": tolerance.upper,
        "tolerance_text": span_text(limits, printed, computed=False),
    }


def _statement(decision: conformity.Decision, rule_text: str) -> dict[str, Any]:
    accepted = (decision.acceptance_lower, decision.acceptance_upper)
    risk = decision.specific_risk
    return {
        "accepts": decision.accepts,
        "acceptance_lower": decision.acceptance_lower,
        "acceptance_upper": decision.acceptance_upper,
        "acceptance_text": span_text(accepted, decision.printed, computed=True),
        "outer_lower": decision.outer_lower,
        "outer_upper": decision.outer_upper,
        "conformance_probability": decision.conformance_probability,
        "conformance_probability_text": print_probability(
            decision.conformance_probability
        ),
        "specific_risk": risk,
        "specific_risk_text": "" if risk is None else print_probability(risk),
        "burden_met": decision.burden_met,
        "test_uncertainty_ratio": decision.test_uncertainty_ratio,
        "capability_index": decision.capability_index,
        "rule_text": rule_text,
        "sentence": decision.sentence,
    }


def span_text(limits: Limits, printed: PrintedResult, *, computed: bool) -> str:
    """Write limits beside a printed value, to its place."""
    unit = printed.unit
    lower, upper = (
        None
        if limit is None
        else f"{print_limit(limit, printed.places, unit, computed=computed)} {unit}"
        for limit in limits
    )
    if lower is None:
        return f"at most {upper}"
    if upper is None:
        return f"at least {lower}"
    return f"{lower} to {upper}"
