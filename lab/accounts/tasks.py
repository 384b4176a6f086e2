"""Work of this app that is done outside of any request."""

from __future__ import annotations

from typing import Final

from lab.accounts.links import send_link
from lab.common.work.kinds import Kind

KINDS: Final = {
    # Sent twice, the newer secret counts and the older is void: so it may be retried.
    "accounts.send_password_link": Kind(send_link, limit_s=60, tries=5),
}
