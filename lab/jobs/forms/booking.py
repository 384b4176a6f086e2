"""Forms for booking a job and for its contract review."""

from __future__ import annotations

from typing import Any

from django import forms
from django.db.models import QuerySet

from lab.common.forms import DayField, text_area
from lab.customers.models import Contact, Customer
from lab.jobs.models import Agreement, Job
from lab.laboratory.models import DecisionRuleRevision, Method, MethodRevision, Room
from lab.laboratory.selectors import offered_rules, revision_at
from lab.parts.models import PartRevision
from lab.parts.selectors import revisions_in_force


class CustomerChoice(forms.Form):
    """For whom a job is booked: what follows depends on it."""

    customer = forms.ModelChoiceField(Customer.objects.filter(in_use=True))


class BookingForm(forms.Form):
    """A job for one customer: whom we reach, what comes in, when it is wanted."""

    contact = forms.ModelChoiceField(Contact.objects.none())
    order_number = forms.CharField(max_length=60, label="The customer's order number")
    part_revision = forms.ModelChoiceField(
        PartRevision.objects.none(), label="Part and revision"
    )
    serials = forms.CharField(
        widget=text_area(4),
        label="Items",
        help_text="One serial number or tag a line.",
    )
    room = forms.ModelChoiceField(
        Room.objects.filter(in_use=True).select_related("site"),
        label="Room to measure in",
    )
    unit = forms.ChoiceField(choices=Job.Unit.choices, label="Unit of the results")
    wanted_on = DayField(required=False, label="Wanted by")

    def __init__(self, data: Any, *, customer: Customer) -> None:
        super().__init__(data)
        contacts = customer.contacts.filter(in_use=True)
        self.fields["contact"].queryset = contacts  # type: ignore[attr-defined]
        revisions = revisions_in_force().filter(part__customer=customer)
        self.fields["part_revision"].queryset = revisions  # type: ignore[attr-defined]

    def clean_serials(self) -> list[str]:
        return str(self.cleaned_data["serials"]).splitlines()


class AgreementForm(forms.Form):
    """What was agreed with the customer before the work (ISO/IEC 17025, 7.1)."""

    asked = forms.CharField(widget=text_area(3), label="What the customer asks for")
    part_revision = forms.ModelChoiceField(
        PartRevision.objects.none(), label="Drawing revision"
    )
    method = forms.ModelChoiceField(MethodRevision.objects.none())
    rule = forms.ModelChoiceField(
        DecisionRuleRevision.objects.none(),
        required=False,
        label="Decision rule",
        empty_label="No statement of conformity is wanted",
    )
    burden = forms.ChoiceField(
        choices=[("", "Not by ISO 14253-1"), *Agreement.BurdenChoice.choices],
        required=False,
        label="Who must prove what",
        help_text="Only for a rule by ISO 14253-1.",
    )
    sampling = forms.CharField(
        widget=text_area(2),
        required=False,
        label="Sampling plan and method",
        help_text="Only where the laboratory itself takes the sample.",
    )
    agreed_with = forms.ModelChoiceField(Contact.objects.none())
    agreed_on = DayField()

    def __init__(self, data: Any, *, job: Job, initial: dict[str, Any]) -> None:
        super().__init__(data, initial=initial)
        querysets = {
            "part_revision": revisions_in_force(job.part_revision.part),
            "agreed_with": job.customer.contacts.filter(in_use=True),
            "method": _methods_in_force(),
            "rule": _rules_on_offer(),
        }
        for name, rows in querysets.items():
            self.fields[name].queryset = rows  # type: ignore[attr-defined]


def _methods_in_force() -> QuerySet[MethodRevision]:
    present = [revision_at(method) for method in Method.objects.all()]
    keys = [revision.pk for revision in present if revision is not None]
    return MethodRevision.objects.filter(pk__in=keys).select_related("method")


def _rules_on_offer() -> QuerySet[DecisionRuleRevision]:
    keys = [revision.pk for revision in offered_rules()]
    return DecisionRuleRevision.objects.filter(pk__in=keys).select_related("rule")
