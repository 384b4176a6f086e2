"""Forms for drafts, for review, and for what happens to certificates."""

from __future__ import annotations

from typing import Any, Final

from django import forms

from lab.accounts.forms import IdentityForm
from lab.certificates.models import Certificate, Draft
from lab.common.forms import MomentField, text_area
from lab.jobs.models import Job, JobItem
from lab.jobs.selectors import items_with_custody
from lab.laboratory.models import Laboratory

TEXTS: Final = ("title", "deviations", "adjustment", "opinion", "change")


class DraftForm(forms.Form):
    """What a certificate says beyond what the records say by themselves."""

    items = forms.ModelMultipleChoiceField(
        JobItem.objects.none(), widget=forms.CheckboxSelectMultiple
    )
    title = forms.ChoiceField(
        choices=Laboratory.Title.choices, label="What kind of document"
    )
    change = forms.CharField(
        widget=text_area(3), label="What is changed, and why", help_text="Printed."
    )
    deviations = forms.CharField(
        widget=text_area(3),
        label="Additions to, departures from or omissions of the method",
        help_text="Write “None.” if there are none.",
    )
    adjustment = forms.CharField(
        widget=text_area(2),
        required=False,
        label="Adjusted or repaired between measurements",
        help_text="Then the values before it are printed beside those after.",
    )
    opinion = forms.CharField(
        widget=text_area(3),
        required=False,
        label="Opinion or interpretation",
        help_text="Printed as such, under your name.",
    )

    def __init__(
        self, data: Any, *, job: Job, is_change: bool, initial: dict[str, Any]
    ) -> None:
        super().__init__(data, initial=initial)
        self.fields["items"].queryset = items_with_custody(job)  # type: ignore[attr-defined]
        if not is_change:
            del self.fields["change"]


def values_of(draft: Draft) -> dict[str, Any]:
    """Return what a form that changes a draft begins with."""
    texts = {name: getattr(draft, name) for name in TEXTS}
    return texts | {"items": list(draft.items.all())}


def first_values(job: Job, old: Certificate | None) -> dict[str, Any]:
    """Return what a new draft begins with: all items, or those of what it changes."""
    if old is not None:
        return values_of(old.draft) | {"change": ""}
    laboratory = Laboratory.objects.first()
    title = laboratory.document_title if laboratory else ""
    return {"items": list(job.items.all()), "title": title}


class RemarkForm(forms.Form):
    """Something said about a draft."""

    text = forms.CharField(widget=text_area(3), label="Remark")


class SendBackForm(RemarkForm):
    """What is to be mended."""

    text = forms.CharField(widget=text_area(3), label="What is to be mended")


class WithdrawalForm(IdentityForm):
    """Why a certificate is withdrawn, and who says so."""

    reason = forms.CharField(widget=text_area(3), label="Why it is withdrawn")
    field_order = ("reason", "password", "code")


class SendingForm(forms.Form):
    """To whom a certificate went."""

    sent_to = forms.CharField(max_length=200, label="To whom")
    how = forms.CharField(max_length=80, help_text="By e-mail, by post, by hand …")
    at = MomentField(label="When")
