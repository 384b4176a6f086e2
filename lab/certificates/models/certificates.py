"""Certificates as issued. Nothing here is ever edited; status is read from the rows."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

from lab.certificates.models.drafts import Draft
from lab.common import clock
from lab.common.files.models import StoredFile
from lab.common.frozen import FrozenModel
from lab.inspections.models import Decision, Result
from lab.jobs.models import Job, JobItem


class Certificate(FrozenModel):
    """One issued certificate: its number, and its whole content as one snapshot."""

    number = models.CharField(max_length=40, unique=True)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="certificates")
    draft = models.OneToOneField(
        Draft, on_delete=models.PROTECT, related_name="certificate"
    )
    amends = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, related_name="amendments"
    )
    replaces = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, related_name="replacement"
    )
    snapshot_text = models.TextField(help_text="Canonical JSON with its schema number.")
    snapshot_sha256 = models.CharField(max_length=64)
    authenticity_code = models.CharField(max_length=26, unique=True)
    issued_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    issued_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        ordering = ["-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(amends=None) | Q(replaces=None),
                name="certificate_amends_or_replaces",
            )
        ]

    def __str__(self) -> str:
        return self.number


class CertificateItem(FrozenModel):
    """That a certificate is about an item."""

    certificate = models.ForeignKey(
        Certificate, on_delete=models.PROTECT, related_name="certified_items"
    )
    item = models.ForeignKey(
        JobItem, on_delete=models.PROTECT, related_name="certified"
    )

    class Meta(FrozenModel.Meta):
        constraints = [
            models.UniqueConstraint(
                fields=["certificate", "item"], name="certificate_item_once"
            )
        ]

    def __str__(self) -> str:
        return f"{self.certificate}: {self.item}"


class CertificateResult(FrozenModel):
    """That a certificate states a result, decided so: the first link of its chain."""

    certificate = models.ForeignKey(
        Certificate, on_delete=models.PROTECT, related_name="certified_results"
    )
    result = models.ForeignKey(
        Result, on_delete=models.PROTECT, related_name="certified"
    )
    decision = models.ForeignKey(Decision, on_delete=models.PROTECT, related_name="+")

    class Meta(FrozenModel.Meta):
        constraints = [
            models.UniqueConstraint(
                fields=["certificate", "result"], name="certificate_result_once"
            )
        ]

    def __str__(self) -> str:
        return f"{self.certificate}: {self.result}"


class Document(FrozenModel):
    """The PDF of a certificate, rendered once and served for ever."""

    certificate = models.OneToOneField(
        Certificate, on_delete=models.PROTECT, related_name="document"
    )
    file = models.ForeignKey(StoredFile, on_delete=models.PROTECT, related_name="+")
    unsigned_sha256 = models.CharField(max_length=64)
    rendered_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        pass

    def __str__(self) -> str:
        return f"{self.certificate}, document"


class Withdrawal(FrozenModel):
    """That a certificate is withdrawn, by whom and why."""

    certificate = models.OneToOneField(
        Certificate, on_delete=models.PROTECT, related_name="withdrawal"
    )
    reason = models.TextField()
    withdrawn_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        pass

    def __str__(self) -> str:
        return f"{self.certificate}, withdrawn"


class Sending(FrozenModel):
    """That a certificate went to somebody, how and when."""

    certificate = models.ForeignKey(
        Certificate, on_delete=models.PROTECT, related_name="sendings"
    )
    sent_to = models.CharField(max_length=200)
    how = models.CharField(max_length=80)
    at = models.DateTimeField()
    sent_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        ordering = ["certificate", "-at"]

    def __str__(self) -> str:
        return f"{self.certificate} to {self.sent_to}"
