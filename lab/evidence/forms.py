"""Forms of cases. Whether what is typed is acceptable, the services say."""

from __future__ import annotations

from typing import Any

from django import forms

from lab.accounts.forms import IdentityForm
from lab.accounts.models import User
from lab.accounts.permissions import Role
from lab.checks.models import MeasuringSystem
from lab.common.forms import DayField, MomentField, text_area
from lab.equipment.models import Device
from lab.evidence.models import Assessment, Case, CaseDecision, Letter, Telling
from lab.jobs.models import Job
from lab.lapses.models import TaskDecision


class JobField(forms.CharField):
    """A job by its number."""

    def clean(self, value: Any) -> Job | None:
        number = super().clean(value).strip()
        if not number:
            return None
        found = Job.objects.filter(number=number).first()
        if found is None:
            raise forms.ValidationError("There is no job of this number.")
        return found


class OpenForm(forms.Form):
    """What happened, and what it is about."""

    cause = forms.ChoiceField(choices=Case.Cause.choices)
    title = forms.CharField(max_length=120, label="In a few words")
    account = forms.CharField(
        widget=text_area(5), label="What happened, and how it came to light"
    )
    job = JobField(
        required=False,
        max_length=40,
        label="A job that it touches",
        help_text="Its number. More can be named later.",
    )
    system = forms.ModelChoiceField(
        MeasuringSystem.objects.all(),
        required=False,
        label="Or a measuring system",
        help_text="Then everything measured with it in the window is touched.",
    )
    device = forms.ModelChoiceField(
        Device.objects.all(), required=False, label="Or a device"
    )
    since = MomentField(
        required=False, label="In question from", help_text="Empty: since ever."
    )
    until = MomentField(required=False, label="In question until")


class NameJobForm(forms.Form):
    """A job by its number."""

    job = JobField(max_length=40, label="Number of the job")


class WindowForm(forms.Form):
    """From when on measuring is in question."""

    since = MomentField(label="In question from")
    reason = forms.CharField(widget=text_area(3), label="Why from then")


class AssessForm(forms.Form):
    """How serious it is."""

    significance = forms.ChoiceField(
        choices=Assessment.Significance.choices, widget=forms.RadioSelect
    )
    reason = forms.CharField(
        widget=text_area(4),
        label="Why, and what it means for earlier results",
    )
    may_recur = forms.BooleanField(
        required=False,
        label="It could happen again",
        help_text="Then the case can't be closed without a corrective action.",
    )


class TaskForm(forms.Form):
    """Whether another system's session is affected."""

    outcome = forms.ChoiceField(
        choices=TaskDecision.Outcome.choices, widget=forms.RadioSelect
    )
    reason = forms.CharField(widget=text_area(3), label="Why")


class DecideForm(forms.Form):
    """What becomes of a certificate."""

    outcome = forms.ChoiceField(
        choices=CaseDecision.Outcome.choices, widget=forms.RadioSelect
    )
    justification = forms.CharField(widget=text_area(4), label="Justification")


class WriteForm(forms.Form):
    """The plain facts of a letter."""

    facts = forms.CharField(
        widget=text_area(6),
        label="The plain facts, for the customer",
        help_text="What happened and when. The certificates, and what becomes of each, "
        "are added as decided.",
    )


class TellForm(forms.Form):
    """Who was told, how and when."""

    way = forms.ChoiceField(choices=Telling.Way.choices, widget=forms.RadioSelect)
    letter = forms.ModelChoiceField(
        Letter.objects.none(), required=False, label="Which letter"
    )
    told = forms.CharField(max_length=200, required=False, label="Who was told")
    at = MomentField(label="When")
    note = forms.CharField(
        widget=text_area(3), label="How it went, what was said, or why not told"
    )

    def __init__(self, data: Any, *, letters: Any, **kwargs: Any) -> None:
        super().__init__(data, **kwargs)
        self.fields["letter"].queryset = letters  # type: ignore[attr-defined]


class ActionForm(forms.Form):
    """What is to be done, by whom and until when."""

    what = forms.CharField(widget=text_area(3), label="What is to be done")
    responsible = forms.ModelChoiceField(
        User.objects.filter(is_active=True).exclude(role=Role.CLIENT),
        label="Who sees to it",
    )
    due_on = DayField(label="Done by")
    effect_due_on = DayField(label="Look on this day whether it helped")


class NoteForm(forms.Form):
    """What was done."""

    note = forms.CharField(widget=text_area(3), label="What was done")


class EffectForm(forms.Form):
    """Whether an action helped."""

    helped = forms.TypedChoiceField(
        choices=[("yes", "It helped"), ("no", "It did not help")],
        coerce=lambda said: said == "yes",
        widget=forms.RadioSelect,
        label="Effect",
    )
    note = forms.CharField(widget=text_area(3), label="What was looked at")


class ResumeForm(forms.Form):
    """Why work may go on."""

    reason = forms.CharField(widget=text_area(3), label="Why work may go on")


class CloseForm(IdentityForm):
    """Last words, and who says them."""

    words = forms.CharField(widget=text_area(3), label="What was learnt")
    field_order = ("words", "password", "code")
