"""Every write about cases."""

from lab.evidence.services.actions import add_action, check_effect, record_done
from lab.evidence.services.closing import close_case, let_resume
from lab.evidence.services.deciding import assess, decide_certificate, move_window
from lab.evidence.services.opening import name_job, open_case, open_for_finding
from lab.evidence.services.telling import draft_letter, record_telling

__all__ = [
    "add_action",
    "assess",
    "check_effect",
    "close_case",
    "decide_certificate",
    "draft_letter",
    "let_resume",
    "move_window",
    "name_job",
    "open_case",
    "open_for_finding",
    "record_done",
    "record_telling",
]
