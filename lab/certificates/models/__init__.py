"""Drafts, which change, and certificates, which never do."""

from lab.certificates.models.certificates import (
    Certificate,
    CertificateItem,
    CertificateResult,
    Document,
    Sending,
    Withdrawal,
)
from lab.certificates.models.drafts import DRAFT_TRANSITIONS, Draft, DraftRemark

__all__ = [
    "DRAFT_TRANSITIONS",
    "Certificate",
    "CertificateItem",
    "CertificateResult",
    "Document",
    "Draft",
    "DraftRemark",
    "Sending",
    "Withdrawal",
]
