"""The rows of results: each value with its uncertainty, limits, verdict and marks.

A row::

    number, description, kind, evaluation, nominal, deviations
    value, expanded_u, coverage_factor, coverage_probability, unit
    tolerance, acceptance, verdict, conformance_probability, specific_risk, sentence
    evaluated_from, temperature, provider, measured_here (flag), session
    in_scope (flag), raised_to_cmc (flag)
    before: None, or value, expanded_u, coverage_factor, unit, session before adjustment
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from lab.certificates.snapshot.words import COVERAGE
from lab.inspections.models import Decision, Result
from lab.inspections.selectors import (
    decisions_under,
    details_of,
    history_of,
    results_in_force,
)
from lab.inspections.words import deviations_text, nominal_text
from lab.jobs.models import Agreement, Job, JobItem, MeasuringSession
from lab.parts.models import Characteristic

State = Result.TemperatureState


@dataclass(frozen=True, slots=True)
class Stated:
    """One result that a certificate states, as decided under the agreement.

    ``before`` is what was measured before an adjustment, where one was made (R25).
    """

    result: Result
    decision: Decision | None
    before: Result | None = None


def stated_results(
    job: Job,
    agreement: Agreement | None,
    items: Iterable[JobItem],
    *,
    adjusted: bool,
) -> list[Stated]:
    """Return the results in force of some items with their decisions in force."""
    results = list(results_in_force(job).filter(item__in=list(items)))
    decisions = decisions_under(agreement, results) if agreement else {}
    return [
        Stated(one, decisions.get(one.pk), _before(one) if adjusted else None)
        for one in results
    ]


def sessions_of(stated: Iterable[Stated]) -> list[MeasuringSession]:
    """Return the sessions that the stated results are of, the first one first."""
    results = [r for one in stated for r in (one.result, one.before) if r is not None]
    found = {one.session.pk: one.session for one in results if one.session is not None}
    return sorted(found.values(), key=lambda one: (one.first_at, one.pk))


def result_groups(
    job: Job,
    items: Sequence[JobItem],
    stated: Iterable[Stated],
    labels: Mapping[int, str],
) -> list[dict[str, Any]]:
    """Return the rows item by item; what has no result has a row without a value."""
    by_key = {(one.result.item_id, one.result.characteristic_id): one for one in stated}
    characteristics = list(job.part_revision.characteristics.all())
    return [
        {
            "serial": item.serial,
            "rows": [
                _asked(characteristic)
                | _answered(by_key.get((item.pk, characteristic.pk)), labels)
                for characteristic in characteristics
            ],
        }
        for item in items
    ]


def verdict_counts(stated: Iterable[Stated]) -> list[dict[str, str]]:
    """Return how often each verdict was given."""
    counts = Counter(one.decision.verdict for one in stated if one.decision)
    return [
        {"verdict": verdict, "count": str(count)}
        for verdict, count in sorted(counts.items())
    ]


def evaluation(stated: Sequence[Stated]) -> dict[str, list[str]]:
    results = [one.result for one in stated]
    return {
        "software": sorted({one.software for one in results}),
        "evaluated_by": sorted({one.evaluated_by.name for one in results}),
    }


def uncertainty_bases(stated: Iterable[Stated]) -> list[str]:
    return sorted({one.result.uncertainty_basis for one in stated})


def _asked(one: Characteristic) -> dict[str, Any]:
    return {
        "number": one.number,
        "description": one.description,
        "kind": one.get_kind_display(),
        "evaluation": one.evaluation,
        "nominal": nominal_text(one),
        "deviations": deviations_text(one),
        "limits": _limits(one),
    }


def _limits(one: Characteristic) -> dict[str, str]:
    """Return the limits as plain numbers for other programs, in mm or °."""
    found = one.tolerance
    return {
        "lower": "" if found.lower is None else f"{found.lower:f}",
        "upper": "" if found.upper is None else f"{found.upper:f}",
        "unit": "°" if one.is_angle else "mm",
    }


NO_ANSWER: dict[str, Any] = {
    "value": "",
    "expanded_u": "",
    "coverage_factor": "",
    "coverage_probability": "",
    "unit": "",
    "tolerance": "",
    "acceptance": "",
    "verdict": "",
    "conformance_probability": "",
    "specific_risk": "",
    "sentence": "",
    "evaluated_from": "",
    "temperature": "",
    "provider": "",
    "measured_here": True,
    "session": "",
    "in_scope": True,
    "raised_to_cmc": False,
    "before": None,
}


def _answered(one: Stated | None, labels: Mapping[int, str]) -> dict[str, Any]:
    if one is None or one.decision is None:
        return NO_ANSWER
    result, details = one.result, details_of(one.decision)
    here = result.session_id is not None
    return _printed(one.decision, details) | {
        "coverage_probability": COVERAGE,
        "tolerance": details["tolerance_text"],
        "acceptance": details["acceptance_text"],
        "verdict": one.decision.verdict,
        "conformance_probability": details["conformance_probability_text"],
        "specific_risk": details["specific_risk_text"],
        "sentence": details["sentence"],
        "evaluated_from": details["evaluation"],
        "temperature": _temperature(result),
        "provider": "" if here else f"Outside provider: {result.provider}",
        "measured_here": here,
        "session": labels.get(result.session_id or 0, ""),
        "in_scope": details["cmc"] is not None or not here,
        "raised_to_cmc": details["raised_to_cmc"],
        "before": _row_before(one.before, labels),
    }


def _printed(decision: Decision, details: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "value": decision.printed_value,
        "expanded_u": decision.printed_u,
        "coverage_factor": details["coverage_factor_text"],
        "unit": decision.printed_unit,
    }


def _temperature(result: Result) -> str:
    warmth = f"{result.part_temperature_text} °C"
    if result.temperature_state == State.AS_MEASURED:
        return f"as measured at {warmth}"
    if result.temperature_state == State.CORRECTED_HERE:
        return f"measured at {warmth}, brought to 20 °C"
    return "brought to 20 °C"


def _before(result: Result) -> Result | None:
    """Return the newest value that an earlier session gave for the same thing."""
    earlier = history_of(result)[1:]
    others = [one for one in earlier if one.session_id not in (None, result.session_id)]
    return others[0] if others else None


def _row_before(
    before: Result | None, labels: Mapping[int, str]
) -> dict[str, Any] | None:
    decision = before.decisions.order_by("-pk").first() if before else None
    if before is None or decision is None:
        return None
    session = labels.get(before.session_id or 0, "")
    return _printed(decision, details_of(decision)) | {"session": session}
