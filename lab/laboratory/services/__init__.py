"""Every write about the laboratory: identity, places, methods, people's authority."""

from lab.laboratory.services.authorisations import (
    end_deputation,
    grant_authorisation,
    name_deputy,
    revoke_authorisation,
)
from lab.laboratory.services.identity import (
    Identity,
    change_laboratory,
    change_number_format,
    set_up_laboratory,
)
from lab.laboratory.services.methods import (
    change_method_title,
    start_method,
    withdraw_method_revision,
)
from lab.laboratory.services.places import (
    add_room,
    add_site,
    change_room,
    change_site,
)
from lab.laboratory.services.revisions import record_method_revision
from lab.laboratory.services.rules import (
    offer_decision_rule,
    revise_decision_rule,
    withdraw_decision_rule,
)

__all__ = [
    "Identity",
    "add_room",
    "add_site",
    "change_laboratory",
    "change_method_title",
    "change_number_format",
    "change_room",
    "change_site",
    "end_deputation",
    "grant_authorisation",
    "name_deputy",
    "offer_decision_rule",
    "record_method_revision",
    "revise_decision_rule",
    "revoke_authorisation",
    "set_up_laboratory",
    "start_method",
    "withdraw_decision_rule",
    "withdraw_method_revision",
]
