"""What the laboratory is, where it works, how, by whom and by which rules."""

from lab.laboratory.models.authorisations import (
    DEPUTISED,
    Activity,
    Authorisation,
    AuthorisationRevocation,
    Deputation,
    DeputationEnd,
)
from lab.laboratory.models.climate import ClimateLimits
from lab.laboratory.models.identity import Laboratory
from lab.laboratory.models.methods import (
    CharacteristicKind,
    CheckKind,
    Method,
    MethodCapability,
    MethodCheck,
    MethodRevision,
    MethodWithdrawal,
)
from lab.laboratory.models.numbers import NumberFormat, Series
from lab.laboratory.models.places import Room, Site
from lab.laboratory.models.rules import (
    DecisionRule,
    DecisionRuleKind,
    DecisionRuleRevision,
    DecisionRuleWithdrawal,
)

__all__ = [
    "DEPUTISED",
    "Activity",
    "Authorisation",
    "AuthorisationRevocation",
    "CharacteristicKind",
    "CheckKind",
    "ClimateLimits",
    "DecisionRule",
    "DecisionRuleKind",
    "DecisionRuleRevision",
    "DecisionRuleWithdrawal",
    "Deputation",
    "DeputationEnd",
    "Laboratory",
    "Method",
    "MethodCapability",
    "MethodCheck",
    "MethodRevision",
    "MethodWithdrawal",
    "NumberFormat",
    "Room",
    "Series",
    "Site",
]
