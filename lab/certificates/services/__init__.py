"""Every write about drafts and certificates, a module per step."""

from lab.certificates.services.afterwards import (
    record_sending,
    withdraw_certificate,
)
from lab.certificates.services.drafts import (
    abandon_draft,
    add_remark,
    change_draft,
    start_draft,
)
from lab.certificates.services.issuing import issue_certificate
from lab.certificates.services.review import (
    approve_draft,
    send_back_draft,
    submit_draft,
)

__all__ = [
    "abandon_draft",
    "add_remark",
    "approve_draft",
    "change_draft",
    "issue_certificate",
    "record_sending",
    "send_back_draft",
    "start_draft",
    "submit_draft",
    "withdraw_certificate",
]
