"""Work of this app that is done outside of any request."""

from __future__ import annotations

from typing import Final

from lab.checks.services.devices import break_systems
from lab.common.actors import PROGRAM
from lab.common.work.kinds import Kind

KINDS: Final = {
    "checks.break_systems": Kind(
        lambda pk: break_systems(event_id=pk, acting_user=PROGRAM), limit_s=120
    ),
}
