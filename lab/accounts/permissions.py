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
    # customers and parts
    "customers.see": STAFF,
    "customers.change": frozenset({C, S, Q, A}),
    "clients.invite": frozenset({C, Q, A}),
    "parts.see": STAFF,
    "parts.change": frozenset({C, T, S, Q}),
    # equipment, rooms, checks
    "equipment.see": STAFF,
    "equipment.change": frozenset({T, S, Q}),
    "calibrations.record": frozenset({T, S, Q}),
    "calibrations.accept": frozenset({S, Q}),
    "environment.see": STAFF,
    "environment.record": frozenset({T, S, Q}),
    "loggers.connect": frozenset({T, Q, A}),
    "checks.see": STAFF,
    "checks.record": frozenset({T, S, Q}),
    "checks.void": frozenset({S, Q}),
    "checks.void_fail": frozenset({Q}),
    "warnings.acknowledge": frozenset({T, S, Q}),
    "systems.change": frozenset({Q, A}),
    "procedures.revise": frozenset({Q}),
    # jobs and results
    "jobs.see": STAFF,
    "jobs.book": frozenset({C, T, S, Q}),
    "jobs.receive": frozenset({C, T, S, Q}),
    "jobs.measure": frozenset({T, S, Q}),
    "jobs.return": frozenset({C, T, S, Q}),
    "jobs.cancel": frozenset({C, S, Q}),
    "holds.raise": frozenset({C, T, S, Q}),
    "holds.clear": frozenset({S, Q}),
    "suspicions.record": frozenset({T, S, Q}),
    "suspicions.decide": frozenset({Q}),
    "results.see": STAFF,
    "results.record": frozenset({T, S, Q}),
    # certificates: authorisation by method is asked for besides the role
    "certificates.see": STAFF,
    "certificates.draft": frozenset({T, S, Q}),
    "certificates.review": frozenset({T, S, Q}),
    "certificates.issue": frozenset({S, Q}),
    "certificates.withdraw": frozenset({S, Q}),
    # cases: who decides is the quality manager or a deputy, as the services ask
    "cases.see": STAFF,
    "cases.open": STAFF,
    "cases.tell": frozenset({C, S, Q}),
    "portal.see": frozenset({P}),
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
    # records
    "common:record": "audit.see",
    "common:work": "work.see",
    "common:retry": "work.retry",
    # customers
    "customers:list": "customers.see",
    "customers:detail": "customers.see",
    "customers:add": "customers.change",
    "customers:change": "customers.change",
    "customers:add-contact": "customers.change",
    "customers:change-contact": "customers.change",
    "customers:invite": "clients.invite",
    # parts
    "parts:list": "parts.see",
    "parts:detail": "parts.see",
    "parts:revision": "parts.see",
    "parts:add": "parts.change",
    "parts:add-revision": "parts.change",
    "parts:correct": "parts.change",
    # equipment
    "equipment:list": "equipment.see",
    "equipment:due": "equipment.see",
    "equipment:reminders": "equipment.see",
    "equipment:make-feed": "equipment.see",
    "equipment:revoke-feed": "equipment.see",
    "equipment:choose-digest": "equipment.see",
    "equipment:calendar": ANYONE,
    "equipment:labels": "equipment.see",
    "equipment:label": "equipment.see",
    "equipment:attachment": "equipment.see",
    "equipment:log": "equipment.change",
    "equipment:plan": "equipment.change",
    "equipment:end-task": "equipment.change",
    "equipment:add-photo": "equipment.change",
    "equipment:add-document": "equipment.change",
    "equipment:remove-file": "equipment.change",
    "equipment:detail": "equipment.see",
    "equipment:calibration": "equipment.see",
    "equipment:add": "equipment.change",
    "equipment:change": "equipment.change",
    "equipment:status": "equipment.change",
    "equipment:calibrate": "calibrations.record",
    "equipment:bring": "calibrations.record",
    "equipment:read": "calibrations.record",
    "equipment:correct": "calibrations.record",
    "equipment:document": "equipment.see",
    "equipment:decide": "calibrations.accept",
    "equipment:require": "calibrations.accept",
    "equipment:intervals": "equipment.see",
    "equipment:set-rule": "calibrations.accept",
    "equipment:drift": "equipment.see",
    "equipment:providers": "calibrations.record",
    "equipment:send": "calibrations.record",
    "equipment:back": "calibrations.record",
    "equipment:stand-in": "equipment.change",
    "equipment:drop-stand-in": "equipment.change",
    # checks
    "checks:list": "checks.see",
    "checks:system": "checks.see",
    "checks:detail": "checks.see",
    "checks:charts": "checks.see",
    "checks:report": "checks.see",
    "checks:acknowledge": "warnings.acknowledge",
    "checks:source": "checks.see",
    "checks:procedures": "checks.see",
    "checks:procedure": "checks.see",
    "checks:record": "checks.record",
    "checks:try": "checks.record",
    "checks:read": "checks.record",
    "checks:confirm": "checks.record",
    "checks:break": "checks.record",
    "checks:void": "checks.void",
    "checks:add-system": "systems.change",
    "checks:change-system": "systems.change",
    "checks:add-procedure": "procedures.revise",
    "checks:change-procedure": "procedures.revise",
    "checks:revise": "procedures.revise",
    # rooms
    "environment:rooms": "environment.see",
    "environment:room": "environment.see",
    "environment:tile": "environment.see",
    "environment:table": "environment.see",
    "environment:acknowledge": "environment.record",
    "environment:record": "environment.record",
    "environment:correct": "environment.record",
    "environment:imports": "environment.see",
    "environment:import": "environment.see",
    "environment:report": "environment.see",
    "environment:upload": "environment.record",
    "environment:confirm": "environment.record",
    "environment:cancel": "environment.record",
    "environment:sensors": "environment.see",
    "environment:place": "environment.record",
    "environment:tokens": "loggers.connect",
    "environment:revoke": "loggers.connect",
    # for loggers: a key opens it, no session
    "readings-api:api-root": ANYONE,  # the name of the prefix; nothing answers there
    "readings-api:store": ANYONE,
    "readings-api:openapi-json": ANYONE,
    # jobs
    "jobs:list": "jobs.see",
    "jobs:book": "jobs.book",
    "jobs:agree": "jobs.book",
    "jobs:cancel": "jobs.cancel",
    "jobs:hold": "holds.raise",
    "jobs:clear": "holds.clear",
    "jobs:temperature": "jobs.measure",
    "jobs:start": "jobs.measure",
    "jobs:scale": "jobs.measure",
    "jobs:pause": "jobs.measure",
    "jobs:resume": "jobs.measure",
    "jobs:end": "jobs.measure",
    "jobs:correct": "jobs.measure",
    "jobs:receive": "jobs.receive",
    "jobs:body": "jobs.receive",
    "jobs:return": "jobs.return",
    # results
    "inspections:results": "results.see",
    "inspections:detail": "results.see",
    "inspections:record": "results.record",
    "inspections:try": "results.record",
    "inspections:correct": "results.record",
    "inspections:decide": "results.record",
    "inspections:finish": "results.record",
    # portal
    "portal:ask": ANYONE,
    "portal:authentic": ANYONE,
    "portal:compare": ANYONE,
    "portal:home": "portal.see",
    "portal:job": "portal.see",
    "portal:certificate": "portal.see",
    # lapses
    "lapses:conditions": "holds.clear",
    "lapses:find": "suspicions.record",
    "lapses:clear": "holds.clear",
    # certificates
    "certificates:list": "certificates.see",
    "certificates:detail": "certificates.see",
    "certificates:document": "certificates.see",
    "certificates:send": "certificates.see",
    "certificates:draft": "certificates.see",
    "certificates:remark": "certificates.see",
    "certificates:start": "certificates.draft",
    "certificates:change": "certificates.draft",
    "certificates:submit": "certificates.draft",
    "certificates:abandon": "certificates.draft",
    "certificates:approve": "certificates.review",
    "certificates:send-back": "certificates.review",
    "certificates:issue": "certificates.issue",
    "certificates:withdraw": "certificates.withdraw",
    # cases and impact
    "evidence:list": "cases.see",
    "evidence:detail": "cases.see",
    "evidence:open": "cases.open",
    "evidence:name-job": "cases.open",
    "evidence:window": "cases.see",
    "evidence:assess": "cases.see",
    "evidence:task": "cases.see",
    "evidence:decide": "cases.see",
    "evidence:write": "cases.tell",
    "evidence:tell": "cases.tell",
    "evidence:letter": "cases.see",
    "evidence:letter-text": "cases.see",
    "evidence:action": "cases.see",
    "evidence:done": "cases.open",
    "evidence:effect": "cases.see",
    "evidence:resume": "cases.see",
    "evidence:close": "cases.see",
    "evidence:device": "equipment.see",
    "evidence:calibration": "equipment.see",
    "evidence:check": "checks.see",
    # board
    "board:job": "jobs.see",
    "board:device": "equipment.see",
    "board:air": "environment.see",
    # accounts
    "accounts:login": ANYONE,
    "accounts:logout": ANYONE,
    "accounts:tablet": ANYONE,
    "accounts:lock_tablet": ANYONE,
    "accounts:ask_password": ANYONE,
    "accounts:password_asked": ANYONE,
    "accounts:set_password": ANYONE,
    "accounts:awake": "account.own",
    "accounts:code": "account.own",
    "accounts:enrol": "account.own",
    "accounts:own": "account.own",
    "accounts:password": "account.own",
    "accounts:new_phone": "account.own",
    "accounts:backup_codes": "account.own",
    "accounts:sign_out_elsewhere": "account.own",
    "accounts:people": "people.see",
    "accounts:add_person": "people.change",
    "accounts:person": "people.change",
    "accounts:deactivate": "people.change",
    "accounts:reactivate": "people.change",
    "accounts:forget_code": "people.change",
    "accounts:invite": "people.change",
    # laboratory
    "laboratory:overview": "laboratory.see",
    "laboratory:identity": "laboratory.change",
    "laboratory:add-site": "laboratory.change",
    "laboratory:change-site": "laboratory.change",
    "laboratory:add-room": "laboratory.change",
    "laboratory:change-room": "laboratory.change",
    "laboratory:change-numbers": "laboratory.change",
    "laboratory:methods": "laboratory.see",
    "laboratory:method": "laboratory.see",
    "laboratory:revision": "laboratory.see",
    "laboratory:start-method": "methods.revise",
    "laboratory:change-title": "methods.revise",
    "laboratory:revise-method": "methods.revise",
    "laboratory:withdraw-revision": "methods.revise",
    "laboratory:authorisations": "laboratory.see",
    "laboratory:authorisation": "laboratory.see",
    "laboratory:evidence": "laboratory.see",
    "laboratory:grant": "authorisations.grant",
    "laboratory:revoke": "authorisations.grant",
    "laboratory:name-deputy": "authorisations.grant",
    "laboratory:end-deputation": "authorisations.grant",
    "laboratory:rules": "laboratory.see",
    "laboratory:rule": "laboratory.see",
    "laboratory:offer-rule": "decision_rules.revise",
    "laboratory:revise-rule": "decision_rules.revise",
    "laboratory:withdraw-rule": "decision_rules.revise",
}


def may(role: str, action: str) -> bool:
    """Tell whether a role may do an action.

    Raises
    ------
    KeyError
        If no such action is in the table: a slip of the pen must not grant.
    """
    return role in ACTIONS[action]
