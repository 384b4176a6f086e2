"""How well a contact thermometer tells the temperature of what it touches."""

from __future__ import annotations

from typing import Final

#: Standard uncertainty of a contact reading: thermometer and contact together (common
#: practice, no source).
U_CONTACT_K: Final = 0.1
