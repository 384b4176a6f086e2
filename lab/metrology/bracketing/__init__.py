"""The lapse rules: which measuring is bracketed by checks, and what breaks that.

An instrument may drift between two checks, so what was measured is relied on only if
the system was found right before it and after it, and nothing happened in between.
From sessions, artefact checks, breaks, calibrations and later findings these
functions tell, for each session, a set of findings, how far it is bracketed, and when
passing time alone will change that.

- `judge`: one session; the definition, written to be read.
- `validity_at`: whether a system may measure now, and until when.
- `judge_all`: many sessions at once, on the arrays that `tabulate` makes.
- `suspicion_of`, `sessions_sharing`: what a failing check casts doubt on, sessions of
  other systems with a device in common among it.
- `reach_of_check`, `reach_of_break`: the span of time in which one event can change
  an answer; only the sessions with measuring in it are judged again.
- `Book`: the incremental form; keeps facts in order and judges what an event reaches.

Intermediate checks are required by ISO/IEC 17025:2017, 6.4.10; what to do when one
fails, by 7.10 (nonconforming work). The rules themselves are this laboratory
software's own.
"""

from __future__ import annotations

from lab.metrology.bracketing.book import Book
from lab.metrology.bracketing.bulk import judge_all
from lab.metrology.bracketing.definition import judge
from lab.metrology.bracketing.facts import (
    LATE_AFTER,
    Break,
    Calibration,
    Check,
    LaterFinding,
    NaiveTime,
    Procedure,
    Segment,
    Session,
    end_of_local_day,
)
from lab.metrology.bracketing.reach import Reach, reach_of_break, reach_of_check
from lab.metrology.bracketing.results import (
    Cause,
    CauseKind,
    Finding,
    FindingName,
    Judgement,
    ProcedureState,
    State,
)
from lab.metrology.bracketing.suspicion import (
    Suspicion,
    sessions_sharing,
    suspicion_of,
)
from lab.metrology.bracketing.tables import JudgementTable, Tabulated, tabulate
from lab.metrology.bracketing.validity import Validity, validity_at

__all__ = [
    "LATE_AFTER",
    "Book",
    "Break",
    "Calibration",
    "Cause",
    "CauseKind",
    "Check",
    "Finding",
    "FindingName",
    "Judgement",
    "JudgementTable",
    "LaterFinding",
    "NaiveTime",
    "Procedure",
    "ProcedureState",
    "Reach",
    "Segment",
    "Session",
    "State",
    "Suspicion",
    "Tabulated",
    "Validity",
    "end_of_local_day",
    "judge",
    "judge_all",
    "reach_of_break",
    "reach_of_check",
    "sessions_sharing",
    "suspicion_of",
    "tabulate",
    "validity_at",
]
