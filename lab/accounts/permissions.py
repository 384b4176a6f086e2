"""Who may do what: one table of actions, one of pages. Read it whole.

Services ask for an action (``@service(may="rooms.change")``), and so does each
page by its name; a page that is in no table is refused to everyone. Which *rows* a
person sees (a client contact: their own customer's) is each app's ``access.py``.
"""

from __future__ import annotations

from typing import Final

from django.db.models import TextChoices


class Role(TextChoices):
    """What a person is in the lab."""

    COORDINATOR = "coordinator", "Coordinator"
    TECHNICIAN = "technician", "Technician"
    SIGNATORY = "signatory", "Signatory"
    QUALITY = "quality_manager", "Quality manager"
    ADMINISTRATOR = "administrator", "Administrator"
    CLIENT = "client_contact", "Client contact"


C, T, S, Q, A, P = (
    Role.COORDINATOR,
    Role.TECHNICIAN,
    Role.SIGNATORY,
    Role.QUALITY,
    Role.ADMINISTRATOR,
    Role.CLIENT,
)
STAFF: Final = frozenset({C, T, S, Q, A})
EVERYONE: Final = STAFF | {P}
#: Roles that sign in with a one-time code besides the password.
CODE_ROLES: Final = frozenset({S, Q, A})

ACTIONS: Final[dict[str, frozenset[Role]]] = {
    # accounts
    "account.own": EVERYONE,
    "people.see": STAFF,
    "people.change": frozenset({A}),
    # laboratory
    "laboratory.see": STAFF,
    "laboratory.change": frozenset({A, Q}),
    "methods.revise": frozenset({Q}),
    "decision_rules.revise": frozenset({Q}),
    "authorisations.grant": frozenset({Q}),
    # records
    "files.see": STAFF,
    "files.store": STAFF,
    "audit.see": frozenset({Q, A}),
    "work.see": frozenset({Q, A}),
    "work.retry": frozenset({Q, A}),
}

#: Pages that need no action: for anyone at all.
ANYONE: Final = "anyone"

PAGES: Final[dict[str, str]] = {
    "home": "account.own",
    "healthz": ANYONE,
    # accounts
    "accounts:login": ANYONE,
    "accounts:logout": ANYONE,
}


def may(role: str, action: str) -> bool:
    """Tell whether a role may do an action.

    Raises
    ------
    KeyError
        If no such action is in the table: a slip of the pen must not grant.
    """
    return role in ACTIONS[action]
