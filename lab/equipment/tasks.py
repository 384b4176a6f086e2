"""Work of this app that is done outside of any request."""

from __future__ import annotations

from datetime import timedelta
from typing import Final

from lab.common.work.kinds import Kind
from lab.equipment import digests

KINDS: Final = {
    "equipment.want_digests": Kind(
        digests.want_this_week,
        limit_s=120,
        every=timedelta(hours=1),
        due=digests.is_due,
    ),
    "equipment.send_digest": Kind(digests.send_digest, limit_s=60, sends_mail=True),
}
