"""The forms of the laboratory's pages."""

from lab.laboratory.forms.authorisations import (
    AuthorisationForm,
    DeputyForm,
    ReasonForm,
)
from lab.laboratory.forms.identity import IdentityForm, NumberFormatForm
from lab.laboratory.forms.methods import MethodForm, RevisionForm, TitleForm
from lab.laboratory.forms.places import RoomForm, SiteForm
from lab.laboratory.forms.rules import RuleForm

__all__ = [
    "AuthorisationForm",
    "DeputyForm",
    "IdentityForm",
    "MethodForm",
    "NumberFormatForm",
    "ReasonForm",
    "RevisionForm",
    "RoomForm",
    "RuleForm",
    "SiteForm",
    "TitleForm",
]
