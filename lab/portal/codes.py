"""Authenticity codes as people type them off a sheet of paper."""

from __future__ import annotations

import re
from typing import Final

#: The signs of base32 (RFC 4648, section 6), and how many of them 128 bits take.
CODE: Final = re.compile(r"[A-Z2-7]{26}")
#: Figures that base32 has not, read as the letter that they look like.
LOOKALIKES: Final = str.maketrans("018", "OIB")
ADDRESS: Final = re.compile(r"^.*/c/([^/?#]*).*$", re.DOTALL)


def code_in(said: str) -> str:
    """Return the code that somebody typed; empty if it can be none.

    Case, blanks and hyphens don't matter, and neither does it whether 0 or O, 1 or I,
    8 or B was read. A whole address may be given in place of the code.

    Examples
    --------
    >>> code_in("k3tz q7mw-b2xj 5hda 6rne vy4c lp")
    'K3TZQ7MWB2XJ5HDA6RNEVY4CLP'
    >>> code_in("K3TZ")
    ''
    """
    part = ADDRESS.sub(r"\1", said)
    typed = re.sub(r"[\s\-\u2010-\u2015]+", "", part).upper().translate(LOOKALIKES)
    return typed if CODE.fullmatch(typed) else ""
