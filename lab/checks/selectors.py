"""How measuring systems stand by their checks, and until when that holds."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, Literal

from django.db.models import Count, Exists, F, OuterRef, Prefetch, Q, QuerySet, Subquery
from django.utils import timezone

from lab.checks.models import (
    ArtefactCheck,
    Break,
    ChartWarning,
    CheckProcedure,
    MeasuringSystem,
    Need,
    ProcedureRevision,
)
from lab.common import clock
from lab.metrology import bracketing

State = Literal["valid", "failed", "expired", "none", "broken", "late"]
Verdict = ArtefactCheck.Verdict
SHAPES: dict[State, tuple[str, str]] = {
    "valid": ("Valid", "state-good"),
    "failed": ("Failed", "state-bad"),
    "expired": ("Expired", "state-wait"),
    "none": ("Not checked", "state-bad"),
    "broken": ("Broken", "state-bad"),
    "late": ("Awaits confirmation", "state-wait"),
}


@dataclass(frozen=True, slots=True)
class ProcedureStanding:
    """What the checks of one procedure say of a system: a word, until when, and why.

    ``last_check`` is the check that the state rests on: the last pass, or the fail
    after it, or the late one that waits for a second person. ``warnings`` counts the
    warnings of its control chart that nobody has acknowledged.
    """

    procedure: ProcedureRevision
    last_check: ArtefactCheck | None
    valid_until: datetime | None
    state: State
    reason: str
    warnings: int = 0

    @property
    def word(self) -> str:
        word = SHAPES[self.state][0]
        return f"{word}, with a warning" if self.warnings else word

    @property
    def shape(self) -> str:
        shape = SHAPES[self.state][1]
        return "state-wait" if self.warnings and shape == "state-good" else shape


def newest_revision(procedure: CheckProcedure) -> ProcedureRevision | None:
    rows = procedure.revisions.select_related("procedure", "artefact")
    return rows.order_by("-number").first()


def newest_procedures(
    system: MeasuringSystem, at: datetime | None = None
) -> list[ProcedureRevision]:
    """Return the newest revision of each procedure that a system needs now."""
    needed = Need.objects.at(at or clock.now()).filter(system=system)
    rows = _newest_revisions()
    return list(rows.filter(procedure__in=needed.values("procedure")))


def needs_of(procedure: CheckProcedure, at: datetime) -> QuerySet[Need]:
    """Return the systems that need a procedure at an instant, or will later."""
    rows = Need.objects.not_ended(at).filter(procedure=procedure)
    return rows.select_related("system").order_by("system__name")


def needs_to_come(system: MeasuringSystem, at: datetime) -> QuerySet[Need]:
    """Return the procedures that a system will need from a later instant on."""
    rows = Need.objects.filter(system=system, since__gt=at)
    return rows.select_related("procedure").order_by("since")


def is_needed(system: MeasuringSystem, procedure: CheckProcedure, at: datetime) -> bool:
    """Tell whether a system needs a procedure now or will later."""
    rows = Need.objects.not_ended(at)
    return rows.filter(system=system, procedure=procedure).exists()


def _newest_revisions() -> QuerySet[ProcedureRevision]:
    later = ProcedureRevision.objects.filter(
        procedure=OuterRef("procedure"), number__gt=OuterRef("number")
    )
    rows = ProcedureRevision.objects.filter(~Exists(later))
    return rows.select_related("procedure", "artefact").order_by("procedure__code")


def counting_passes() -> QuerySet[ArtefactCheck]:
    """Return the passes that count: in time or confirmed, not void, no break within."""
    in_time = Q(recorded_at__lte=F("ended_at") + bracketing.LATE_AFTER)
    astride = Break.objects.filter(
        system=OuterRef("system"),
        at__gt=OuterRef("started_at"),
        at__lt=OuterRef("ended_at"),
    )
    return ArtefactCheck.objects.filter(
        in_time | Q(late_confirmation__isnull=False),
        ~Exists(astride),
        verdict=Verdict.PASS,
        void=None,
    )


# --- Standing -----------------------------------------------------------------------


def standing(system: MeasuringSystem, at: datetime) -> list[ProcedureStanding]:
    """Return how a system stands at an instant, by each procedure that it needs."""
    return standings([system], at)[system.pk]


def standings(
    systems: Iterable[MeasuringSystem], at: datetime
) -> dict[int, list[ProcedureStanding]]:
    """Return how systems stand, by their key, in six queries however many they are."""
    found: dict[int, list[ProcedureStanding]] = {one.pk: [] for one in systems}
    pairs = _pairs(found, at)
    revisions = {
        revision.procedure_id: revision
        for revision in _newest_revisions().filter(
            procedure__in={pair.procedure for pair in pairs}
        )
    }
    passes = _named(checks_with_records(), {pair.passed for pair in pairs})
    breaks = _named(Break.objects.all(), {pair.broken for pair in pairs})
    later = _later_checks(pairs, passes, at)
    warned = _warned(found, at) if pairs else {}
    for pair in pairs:
        revision = revisions.get(pair.procedure)
        if revision is None:
            continue
        since = later.get((pair.system, pair.procedure), [])
        last = _Last(
            passed=passes.get(pair.passed or 0),
            failed=next((check for check in since if not check.passed), None),
            waits=next((check for check in since if check.awaits_confirmation), None),
            broken=breaks.get(pair.broken or 0),
        )
        made = _standing(revision, last, at)
        warnings = warned.get((pair.system, pair.procedure), 0)
        found[pair.system].append(replace(made, warnings=warnings))
    return found


def _warned(systems: Iterable[int], at: datetime) -> dict[tuple[int, int], int]:
    """Count the open warnings by system and procedure."""
    rows = _open_warnings().filter(
        artefact_check__system__in=list(systems), recorded_at__lte=at
    )
    counted = rows.values_list(
        "artefact_check__system", "artefact_check__procedure__procedure"
    ).annotate(count=Count("pk"))
    return {(system, procedure): count for system, procedure, count in counted}


def _open_warnings() -> QuerySet[ChartWarning]:
    """Return the warnings that nobody has acknowledged, of checks that count."""
    rows = ChartWarning.objects.filter(acknowledgement=None, artefact_check__void=None)
    return rows.order_by("-artefact_check__ended_at", "-pk")


def open_warnings(system: MeasuringSystem) -> QuerySet[ChartWarning]:
    rows = _open_warnings().filter(artefact_check__system=system)
    return rows.select_related("artefact_check__procedure__procedure")


def warnings_of(
    system: MeasuringSystem, start: datetime, end: datetime
) -> QuerySet[ChartWarning]:
    """Return every warning of a system's checks in a period, what was done included."""
    rows = ChartWarning.objects.filter(
        artefact_check__system=system,
        artefact_check__void=None,
        artefact_check__ended_at__gte=start,
        artefact_check__ended_at__lt=end,
    )
    return rows.select_related(
        "artefact_check__procedure__procedure", "acknowledgement__acknowledged_by"
    ).order_by("artefact_check__ended_at", "pk")


@dataclass(frozen=True, slots=True)
class _Pair:
    """A system, a procedure that it needs, its last counting pass and last break."""

    system: int
    procedure: int
    passed: int | None
    broken: int | None


@dataclass(frozen=True, slots=True)
class _Last:
    """The latest of each kind up to an instant, of one system and procedure."""

    passed: ArtefactCheck | None
    failed: ArtefactCheck | None
    waits: ArtefactCheck | None
    broken: Break | None


def _pairs(systems: Iterable[int], at: datetime) -> list[_Pair]:
    passes = counting_passes().filter(
        system=OuterRef("system"),
        procedure__procedure=OuterRef("procedure"),
        ended_at__lte=at,
    )
    breaks = Break.objects.filter(system=OuterRef("system"), at__lte=at)
    rows = Need.objects.at(at).filter(system__in=list(systems))
    annotated = rows.annotate(
        passed=Subquery(passes.order_by("-ended_at", "-pk").values("pk")[:1]),
        broken=Subquery(breaks.order_by("-at", "-pk").values("pk")[:1]),
    )
    found = annotated.order_by("procedure__code").values_list(
        "system", "procedure", "passed", "broken"
    )
    return [_Pair(*row) for row in found]


def _later_checks(
    pairs: list[_Pair], passes: dict[int, ArtefactCheck], at: datetime
) -> dict[tuple[int, int], list[ArtefactCheck]]:
    """Return what came since each last pass and may spoil it, the newest first.

    Reading on from the pass alone keeps this as fast in an old archive as in a young
    one: a history without fails would be read whole to find none.
    """
    wanted = Q(pk__in=())
    for pair in pairs:
        own = Q(system=pair.system, procedure__procedure=pair.procedure)
        passed = passes.get(pair.passed or 0)
        wanted |= own & Q(ended_at__gte=passed.ended_at) if passed else own
    rows = checks_with_records().filter(wanted, ended_at__lte=at, void=None)
    found: dict[tuple[int, int], list[ArtefactCheck]] = {}
    for check in rows.order_by("-ended_at", "-pk"):
        key = (check.system_id, check.procedure.procedure_id)
        found.setdefault(key, []).append(check)
    return found


def _named(rows: QuerySet[Any], keys: set[int | None]) -> dict[int, Any]:
    there = keys - {None}
    return rows.in_bulk(list(there)) if there else {}


def _standing(
    revision: ProcedureRevision, last: _Last, at: datetime
) -> ProcedureStanding:
    checks = [check for check in (last.passed, last.failed) if check is not None]
    validity = bracketing.validity_at(
        at,
        "",
        bracketing.Procedure(
            revision.procedure.code, revision.valid_for, revision.closing_within
        ),
        [_fact(revision, check) for check in checks],
        [bracketing.Break("break", "", last.broken.at)] if last.broken else [],
    )
    state = _state(validity, last)
    resting = {"failed": last.failed, "late": last.waits, "none": None}
    return ProcedureStanding(
        procedure=revision,
        last_check=resting.get(state, last.passed),
        valid_until=validity.valid_until if state in {"valid", "expired"} else None,
        state=state,
        reason=_reason(state, revision, last, validity),
    )


def _fact(revision: ProcedureRevision, check: ArtefactCheck) -> bracketing.Check:
    return bracketing.Check(
        key=check.verdict,
        system="",
        procedure=revision.procedure.code,
        start=check.started_at,
        end=check.ended_at,
        passed=check.passed,
    )


def _state(validity: bracketing.Validity, last: _Last) -> State:
    if validity.valid:
        return "valid"
    spoilt = _spoilt(validity, last)
    if last.waits is not None and _is_newest(last.waits, last):
        return "late"
    return spoilt


def _spoilt(validity: bracketing.Validity, last: _Last) -> State:
    cause = validity.unchecked_by
    kind = cause.kind if cause else bracketing.CauseKind.PROCEDURE
    if kind is bracketing.CauseKind.BREAK:
        # Only a pass can be broken; before the first there is none, or a fail.
        return "broken" if last.passed else "failed" if last.failed else "none"
    if kind is bracketing.CauseKind.PROCEDURE or cause is None:
        return "none"
    return "failed" if cause.key == Verdict.FAIL else "expired"


def _is_newest(waiting: ArtefactCheck, last: _Last) -> bool:
    """Tell whether a late pass, once confirmed, would be the one that counts."""
    others = [check for check in (last.passed, last.failed) if check is not None]
    if any(check.ended_at >= waiting.ended_at for check in others):
        return False
    return last.broken is None or last.broken.at <= waiting.started_at


def _reason(
    state: State,
    revision: ProcedureRevision,
    last: _Last,
    validity: bracketing.Validity,
) -> str:
    code = revision.procedure.code
    match state:
        case "valid":
            return f"{code} passed; valid until {_local(validity.valid_until)}."
        case "failed":
            ended = last.failed.ended_at if last.failed else None
            return f"{code} failed at {_local(ended)}, and none has passed since."
        case "expired":
            return f"{code} ran out at {_local(validity.valid_until)}; check again."
        case "broken":
            kind = last.broken.get_kind_display() if last.broken else "Break"
            at = last.broken.at if last.broken else None
            return f"{kind} at {_local(at)}, and {code} has not passed since."
        case "late":
            return f"{code} was recorded late; a second person has to confirm it."
        case _:
            return f"{code} has not passed yet on this system."


def _local(instant: datetime | None) -> str:
    """Say an instant by the clock on the laboratory's wall."""
    if instant is None:
        return "some time"
    return f"{timezone.localtime(instant):%Y-%m-%d %H:%M}"


# --- Histories -----------------------------------------------------------------------

#: How many checks a trend shows: three months of mornings.
IN_TREND = 90


def checks_with_records() -> QuerySet[ArtefactCheck]:
    """Return checks with all that a list shows of them, void and confirmation too."""
    return ArtefactCheck.objects.select_related(
        "procedure__procedure", "measured_by", "void", "late_confirmation"
    )


def checks_of(system: MeasuringSystem) -> QuerySet[ArtefactCheck]:
    return checks_with_records().filter(system=system)


def checks_in_trend(
    system: MeasuringSystem, procedure: CheckProcedure
) -> list[ArtefactCheck]:
    """Return the newest checks by a procedure that are not void, newest first."""
    rows = checks_of(system).filter(procedure__procedure=procedure, void=None)
    return list(rows.order_by("-ended_at", "-pk")[:IN_TREND])


def last_check_by(
    system: MeasuringSystem, procedure: CheckProcedure
) -> ArtefactCheck | None:
    rows = system.checks.filter(procedure__procedure=procedure)
    return rows.order_by("-ended_at", "-pk").first()


def procedures_with_revisions() -> QuerySet[CheckProcedure]:
    """Return every procedure with its needs and revisions, newest revision first."""
    revisions = ProcedureRevision.objects.select_related("artefact").order_by("-number")
    needs = Need.objects.not_ended(clock.now()).select_related("system")
    return CheckProcedure.objects.prefetch_related(
        Prefetch("needs", needs.order_by("system__name")),
        Prefetch("revisions", revisions),
    )
