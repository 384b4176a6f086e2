"""The record of a system over a period on paper: its checks, charts and warnings.

Drawn when it is asked for, from the records as they stand, and kept nowhere: each
page says when it was drawn. The checks themselves are the record.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from io import BytesIO
from typing import Any, Final

from django.db.models import Q
from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    BaseDocTemplate,
    Flowable,
    Frame,
    KeepTogether,
    PageTemplate,
)

from lab.checks.charting.plots import ControlPage, control_page
from lab.checks.models import (
    ArtefactCheck,
    Break,
    ChartWarning,
    CheckProcedure,
    MeasuringSystem,
    ProcedureRevision,
)
from lab.checks.selectors import checks_of, warnings_of
from lab.common import clock
from lab.common.charts import Period
from lab.common.pdf import fonts, look, pieces
from lab.common.pdf.charts import Chart
from lab.common.pdf.text import drawable, printable
from lab.common.templatetags.unbroken import local
from lab.laboratory.selectors import the_laboratory

LANGUAGE: Final = "en-GB"
FOOT: Final = 6.0
#: How many checks one report lists: some forty pages.
MOST_CHECKS: Final = 2000


@dataclass(frozen=True, slots=True)
class _Said:
    """What is written at the foot of every page."""

    title: str
    drawn: str


def system_report(system: MeasuringSystem, period: Period) -> bytes:
    """Return the PDF of a system's record over a period."""
    laboratory = the_laboratory()
    sheet = look.sheet_of("a4")
    said = _Said(f"{system}: checks {period.words}", f"Drawn {local(clock.now())}")
    written = BytesIO()
    document = BaseDocTemplate(
        written,
        pagesize=(sheet.width, sheet.height),
        lang=LANGUAGE,
        initialFontName=fonts.sheet().name,
        displayDocTitle=1,
        title=said.title,
        author=laboratory.name if laboratory else "",
        creator="Unbroken",
    )
    body = Frame(
        sheet.left, sheet.bottom + 20, sheet.right - sheet.left, sheet.top - 40, id="b"
    )
    document.addPageTemplates(
        [PageTemplate("sheet", [body], onPage=lambda c, _: _foot(c, said, sheet))]
    )
    width = sheet.right - sheet.left - 12
    owner = laboratory.name if laboratory else ""
    document.build(list(_parts(system, period, owner, said, width)))
    return written.getvalue()


def _paragraph(said: object, style: ParagraphStyle = look.BODY) -> Flowable:
    return pieces.paragraph(printable(said), style)


def _table(
    heads: Sequence[str],
    rows: Iterable[Sequence[str]],
    widths: Sequence[float],
    width: float,
) -> Flowable:
    said = [[printable(cell) for cell in row] for row in rows]
    return pieces.plain_table(heads, said, widths, width)


def _foot(canvas: Canvas, said: _Said, sheet: look.Sheet) -> None:
    canvas.saveState()
    canvas.setFont(fonts.PLAIN, 7)
    canvas.setFillColor(look.QUIET)
    canvas.drawString(sheet.left + FOOT, sheet.bottom, drawable(said.title))
    page = f"{said.drawn}, page {canvas.getPageNumber()}"
    canvas.drawRightString(sheet.right - FOOT, sheet.bottom, drawable(page))
    canvas.restoreState()


def _parts(
    system: MeasuringSystem, period: Period, owner: str, said: _Said, width: float
) -> Iterable[Flowable]:
    yield _paragraph(owner, look.OWNER)
    yield _paragraph(f"{system}: checks and control charts", look.SECTION)
    yield pieces.grid(_facts(system, period, said), width)
    for procedure in _procedures(system, period):
        yield from _procedure(system, procedure, period, width)
    yield from _checks(system, period, width)
    yield from _breaks(system, period, width)


def _facts(
    system: MeasuringSystem, period: Period, said: _Said
) -> list[list[tuple[str, Sequence[Flowable]]]]:
    def cell(label: str, text: object) -> tuple[str, Sequence[Flowable]]:
        return label, [_paragraph(text)]

    return [
        [cell("Period", period.words), cell("Drawn", said.drawn)],
        [
            cell("Tracker", f"{system.tracker}, {system.tracker.serial}"),
            cell("Scanner", f"{system.scanner}, {system.scanner.serial}"),
        ],
    ]


def _procedures(system: MeasuringSystem, period: Period) -> list[CheckProcedure]:
    """Return the procedures that the system needed or was checked by in a period."""
    needed = system.needs.filter(since__lt=period.end).not_ended(period.start)
    done = system.checks.filter(ended_at__gte=period.start, ended_at__lt=period.end)
    either = Q(pk__in=needed.values("procedure")) | Q(
        pk__in=done.order_by().values("procedure__procedure")
    )
    return list(CheckProcedure.objects.filter(either).order_by("code"))


def _procedure(
    system: MeasuringSystem, procedure: CheckProcedure, period: Period, width: float
) -> Iterable[Flowable]:
    page = control_page(system, procedure, period)
    yield from pieces.section(printable(procedure))
    revisions = ProcedureRevision.objects.filter(
        procedure=procedure, recorded_at__lt=period.end
    )
    for revision in revisions.select_related("procedure", "artefact")[:3]:
        yield _paragraph(_limits(revision), look.SAID)
    if not page.pictures:
        yield _paragraph("No check by it counts in this period.", look.SAID)
        return
    for sentence in page.said:
        yield _paragraph(sentence, look.SAID)
    for picture in page.pictures:
        title = _paragraph(picture.title, look.STRONG_BODY)
        yield KeepTogether([title, Chart(picture), pieces.gap(6)])
    yield _paragraph(page.legend, look.SMALL)
    yield from _fired(page, width)
    yield from _warnings(system, procedure, period, width)


def _limits(revision: ProcedureRevision) -> str:
    claimed = revision.claimed_u
    defended = (
        f" It defends a standard uncertainty of {claimed} in the budgets."
        if claimed
        else ""
    )
    return (
        f"{revision}, of {local(revision.recorded_at)}: {revision.artefact}, "
        f"{revision.calibrated_label}; limit {revision.limit_words}, "
        f"{revision.get_acceptance_display().lower()} acceptance; a pass is valid for "
        f"{revision.valid_words}.{defended}"
    )


def _fired(page: ControlPage, width: float) -> Iterable[Flowable]:
    if not page.fired:
        yield _paragraph("None of the watched rules fired.", look.SAID)
        return
    rows = [(local(check.ended_at), one.words) for check, one in page.fired]
    yield _table(("Rules that fired", ""), rows, (1, 3), width)


def _warnings(
    system: MeasuringSystem, procedure: CheckProcedure, period: Period, width: float
) -> Iterable[Flowable]:
    rows = warnings_of(system, period.start, period.end).filter(
        artefact_check__procedure__procedure=procedure
    )
    if rows:
        yield pieces.gap(6)
        yield _table(
            ("Warning given", "Rule", "What was found and done"),
            [
                (
                    local(one.artefact_check.ended_at),
                    one.get_rule_display(),
                    _acknowledged(one),
                )
                for one in rows
            ],
            (1, 1.5, 2),
            width,
        )


def _acknowledged(one: ChartWarning) -> str:
    if one.is_open:
        return "Not acknowledged yet."
    word: Any = one.acknowledgement
    return f"{word.note} ({word.acknowledged_by}, {local(word.recorded_at)})"


def _checks(
    system: MeasuringSystem, period: Period, width: float
) -> Iterable[Flowable]:
    rows = checks_of(system).filter(ended_at__gte=period.start, ended_at__lt=period.end)
    yield from pieces.section("Checks, void ones included")
    newest = list(rows.order_by("-ended_at", "-pk")[: MOST_CHECKS + 1])
    if len(newest) > MOST_CHECKS:
        said = f"The newest {MOST_CHECKS} are listed; ask for a shorter period."
        yield _paragraph(said, look.SAID)
    yield _table(
        ("Ended", "Procedure", "Verdict", "Worst |error| / limit", "Measured by"),
        [_check(one) for one in reversed(newest[:MOST_CHECKS])]
        or [("None in this period.", "", "", "", "")],
        (1.7, 1.5, 1.6, 0.9, 1.3),
        width,
    )


def _check(check: ArtefactCheck) -> tuple[str, ...]:
    word: Any = check.word
    if check.is_void:
        word = f"Void: {check.void.reason}"
    return (
        local(check.ended_at),
        str(check.procedure),
        word,
        check.worst_percent,
        str(check.measured_by),
    )


def _breaks(
    system: MeasuringSystem, period: Period, width: float
) -> Iterable[Flowable]:
    rows = Break.objects.filter(
        system=system, at__gte=period.start, at__lt=period.end
    ).select_related("recorded_by")
    yield from pieces.section("Breaks")
    yield _table(
        ("When", "What", "", "Recorded by"),
        [
            (local(one.at), one.get_kind_display(), one.note, str(one.recorded_by))
            for one in rows.order_by("at", "pk")
        ]
        or [("None in this period.", "", "", "")],
        (1.7, 1.3, 3, 1.3),
        width,
    )
