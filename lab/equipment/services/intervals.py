"""The rule by which the lab sets the interval of a family of devices."""

from __future__ import annotations

from lab.accounts.models import User
from lab.common import audit
from lab.common.errors import NotAcceptable
from lab.common.services import service
from lab.common.texts import refuse_placeholder
from lab.equipment.models import CALIBRATED, IntervalRule
from lab.metrology.errors import MetrologyError

LONGEST_MONTHS = 120


@service(may="calibrations.accept")
def set_interval_rule(
    *,
    family: str,
    method: str,
    months: int,
    shortest_months: int = 3,
    longest_months: int = 36,
    extend_up_to_percent: int = 50,
    reduce_above_percent: int = 100,
    in_a_row: int = 2,
    reason: str,
    acting_user: User,
) -> IntervalRule:
    """Set the rule of a family; recorded due days stay what they are.

    Raises
    ------
    NotAcceptable
        If the family needs no calibration, or the numbers make no rule.
    """
    if family not in CALIBRATED:
        raise NotAcceptable("Devices of this kind need no calibration.", field="family")
    if method not in IntervalRule.Method:
        raise NotAcceptable(f"“{method}” is no method.", field="method")
    if not 1 <= shortest_months <= months <= longest_months <= LONGEST_MONTHS:
        raise NotAcceptable(
            "The interval lies between the shortest and the longest, from 1 to "
            f"{LONGEST_MONTHS} months.",
            field="months",
        )
    columns = {
        "family": family,
        "method": method,
        "months": months,
        "shortest_months": shortest_months,
        "longest_months": longest_months,
        "extend_up_to_percent": extend_up_to_percent,
        "reduce_above_percent": reduce_above_percent,
        "in_a_row": in_a_row,
        "reason": refuse_placeholder(reason, "reason"),
    }
    try:
        IntervalRule(**columns).policy()
    except MetrologyError as refusal:
        raise NotAcceptable(str(refusal), field="extend_up_to_percent") from None
    rule = IntervalRule.objects.create(recorded_by=acting_user, **columns)
    audit.record(
        "interval_rule.set",
        rule,
        actor=acting_user,
        reason=rule.reason,
        after=columns,
    )
    return rule
