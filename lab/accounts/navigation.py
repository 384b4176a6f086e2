"""The navigation: one table of entries; each is shown to whom its page is open."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from django.urls import reverse

from lab.accounts.http import Request
from lab.accounts.permissions import PAGES


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry: the words on it, the page, and the app whose pages it covers.

    ``action`` says who is shown it, where more people than those may open the page.
    """

    label: str
    page: str
    action: str = ""

    @property
    def asks_for(self) -> str:
        return self.action or PAGES[self.page]

    @property
    def app(self) -> str:
        return self.page.partition(":")[0]


NAVIGATION: Final = (
    Entry("Board", "home", action="jobs.see"),
    Entry("Your jobs", "portal:home"),
    Entry("Jobs", "jobs:list"),
    Entry("Checks", "checks:list"),
    Entry("Rooms", "environment:rooms"),
    Entry("Devices", "equipment:list"),
    Entry("Parts", "parts:list"),
    Entry("Certificates", "certificates:list"),
    Entry("Cases", "evidence:list"),
    Entry("Customers", "customers:list"),
    Entry("Laboratory", "laboratory:overview"),
    Entry("People", "accounts:people"),
    Entry("Record", "common:record"),
    Entry("Work", "common:work"),
)


def entries_for(request: Request) -> list[dict[str, object]]:
    """Return what this person's navigation holds, with the present page marked."""
    match = request.resolver_match
    here = match.view_name.partition(":")[0] if match else ""
    return [
        {"label": entry.label, "url": reverse(entry.page), "here": entry.app == here}
        for entry in NAVIGATION
        if entry.page in PAGES and request.user.may(entry.asks_for)
    ]
