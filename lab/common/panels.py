"""Panels: what an app shows of a job, a device or a customer on a page of the board.

A page that joins apps holds a visible tuple of panel functions; each takes who looks
and what at, and returns a panel, or None where it has nothing for them.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True, slots=True)
class Panel:
    """One section of a page: its heading, its template, and all that this needs."""

    title: str
    template: str
    context: dict[str, Any] = field(default_factory=dict)

    @property
    def anchor(self) -> str:
        """Return the name by which an address can point at this section."""
        return self.title.lower().replace(" ", "-")
