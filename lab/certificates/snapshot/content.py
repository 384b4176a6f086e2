"""The whole content of a draft, gathered from the records."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from lab.certificates.models import Certificate, Draft
from lab.certificates.snapshot import evidence, parties, words
from lab.certificates.snapshot.reading import SCHEMA
from lab.certificates.snapshot.results import (
    Stated,
    evaluation,
    result_groups,
    sessions_of,
    stated_results,
    uncertainty_bases,
    verdict_counts,
)
from lab.common.jsontext import canonical_text, sha256_hex
from lab.inspections.models import Result
from lab.jobs.models import Agreement, Job
from lab.jobs.selectors import agreement_in_force
from lab.laboratory.selectors import home_zone
from lab.metrology.conformity import rule_text


def content_of(draft: Draft) -> dict[str, Any]:
    """Return every string that the draft would print if it were issued as it is.

    What is missing is an empty string or list; the requirements table says whether
    that may be. Nothing in it depends on who asks or when.
    """
    job, agreement = draft.job, agreement_in_force(draft.job)
    items = list(draft.items.select_related("receipt").order_by("position"))
    adjusted = bool(draft.adjustment)
    stated = stated_results(job, agreement, items, adjusted=adjusted)
    sessions = sessions_of(stated)
    labels = evidence.label_sessions(sessions)
    return {
        "schema": SCHEMA,
        "title": draft.get_title_display(),
        **_head(draft, agreement),
        "place_of_work": parties.places_of_work(job, sessions),
        "items": [parties.item(one, job, job.room.site.zone) for one in items],
        "measured_on": _measured_on(sessions),
        "results": result_groups(job, items, stated, labels),
        "uncertainty": {
            "statement": words.UNCERTAINTY,
            "bases": uncertainty_bases(stated),
        },
        "evaluation": evaluation(stated),
        "conformity": _conformity(job, agreement, stated),
        "conditions": {
            "rooms": [evidence.room_conditions(s, labels[s.pk]) for s in sessions],
            "part_temperatures": evidence.item_temperatures(
                job, items, sessions, labels
            ),
            "reference": _reference(stated),
        },
        "traceability": evidence.traceability(sessions, labels),
        "sessions": [evidence.session_block(s, labels[s.pk]) for s in sessions],
        # No gate can be passed by hand yet; the ones that are will be listed here.
        "gates_passed": [],
    }


def content_sha256(content: dict[str, Any]) -> str:
    """Return the hash by which an approval knows what it approved."""
    return sha256_hex(canonical_text(content))


def _head(draft: Draft, agreement: Agreement | None) -> dict[str, Any]:
    job = draft.job
    supplied = parties.supplied_by_customer(job)
    sampled = agreement is not None and bool(agreement.sampling)
    return {
        "paper": parties.paper(),
        "laboratory": parties.laboratory(),
        "customer": parties.customer(job),
        "job": job.number,
        "part": parties.part(job),
        "method": parties.method(agreement),
        "agreement": parties.agreed(agreement),
        "sampling": agreement.sampling if agreement else "",
        "deviations": draft.deviations,
        "adjustment": draft.adjustment,
        "opinion": {
            "heading": words.OPINION,
            "text": draft.opinion,
            "author": draft.prepared_by.name if draft.opinion else "",
        },
        "change": _change(draft),
        "customer_supplied": supplied,
        "statements": {
            "items_only": words.ITEMS_ONLY,
            "as_received": words.SAMPLED if sampled else words.AS_RECEIVED,
            "customer_data": words.CUSTOMER_DATA.format(supplied="; ".join(supplied)),
            "no_partial_copy": words.NO_PARTIAL_COPY,
        },
    }


def _measured_on(sessions: Sequence[Any]) -> dict[str, Any]:
    days = sorted(set().union(*(evidence.days_of(one) for one in sessions)))
    return {
        "text": words.days_text(days),
        "days": [words.day_text(day) for day in days],
    }


def _conformity(
    job: Job, agreement: Agreement | None, stated: Sequence[Stated]
) -> dict[str, Any] | None:
    """Return the statement of conformity: rule, risk, specification, scope (7.8.6)."""
    if agreement is None or agreement.rule is None:
        return None
    drawing = f"{job.part_revision.part.number} revision {job.part_revision.revision}"
    count = len([one for one in stated if one.decision])
    return {
        "rule": str(agreement.rule),
        "rule_text": rule_text(agreement.rule.as_rule(agreement.burden or None)),
        "risk": agreement.rule.risk,
        "burden": agreement.get_burden_display() if agreement.burden else "",
        "specification": f"Drawing {drawing}",
        "scope": f"Each of the {count} results above is judged against the tolerance "
        f"of drawing {drawing} that stands beside it.",
        "verdicts": verdict_counts(stated),
    }


def _reference(stated: Sequence[Stated]) -> str:
    as_measured = Result.TemperatureState.AS_MEASURED
    if any(one.result.temperature_state == as_measured for one in stated):
        return words.NOT_AT_REFERENCE
    return words.REFERENCE


def _change(draft: Draft) -> dict[str, str] | None:
    old: Certificate | None = draft.amends or draft.replaces
    if old is None:
        return None
    day = words.day_text(old.issued_at.astimezone(home_zone()).date())
    sentence = words.amendment if draft.amends else words.replacement
    return {
        "kind": "amendment" if draft.amends else "replacement",
        "number": old.number,
        "issued_on": day,
        "text": draft.change,
        "statement": sentence(old.number, day),
    }
