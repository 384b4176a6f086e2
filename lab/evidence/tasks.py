"""What the worker does: open the cases that findings ask for, draw letters."""

from __future__ import annotations

from lab.common.actors import PROGRAM
from lab.common.work.kinds import Kind
from lab.evidence import services
from lab.evidence.letters.documents import render_letter

KINDS = {
    "evidence.open_case": Kind(
        lambda pk: services.open_for_finding(finding_id=pk, acting_user=PROGRAM),
        limit_s=60,
    ),
    "evidence.render_letter": Kind(render_letter, limit_s=60),
}
