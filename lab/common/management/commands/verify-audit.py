"""Recompute the audit chain and say whether it is whole."""  # noqa: N999

from __future__ import annotations

import re
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from lab.common import audit

#: Digits of a digest that are enough to name it: what a certificate prints at least.
SHORTEST_HEAD = 12


class Command(BaseCommand):
    help = (
        "Recompute the chain over the audit from its first entry. Ends with status 1 "
        "where an entry was changed, removed or slipped in, or waits unsealed."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--head",
            default="",
            metavar="DIGEST",
            help="a digest printed on a certificate, which the chain must hold",
        )

    def handle(self, *, head: str, **options: Any) -> None:
        witness = head.strip().lower()
        if witness and not re.fullmatch(rf"[0-9a-f]{{{SHORTEST_HEAD},64}}", witness):
            raise CommandError(
                f"{head} is no digest: give {SHORTEST_HEAD} to 64 hexadecimal digits, "
                "as printed on a certificate."
            )
        found = audit.verify(witness)
        self.stdout.write(f"Sealed entries: {found.sealed}")
        self.stdout.write(f"Head of the chain: {found.head}")
        if witness:
            said = "is" if _holds(found, witness) else "is not"
            self.stdout.write(f"The printed digest {witness} {said} in the chain.")
        if not found.ok:
            raise CommandError("\n".join(told_faults(found)))
        self.stdout.write(self.style.SUCCESS("The chain is whole."))


def told_faults(found: audit.Verification) -> list[str]:
    """Return what is wrong with the chain, a sentence a line."""
    lines = [f"The chain is broken in {len(found.faults)} place(s):"]
    if not found.faults:
        lines = ["The chain is whole as far as it is sealed."]
    lines += [f"  {fault}" for fault in found.faults]
    if found.unsealed_late:
        count, first = len(found.unsealed_late), found.unsealed_late[0]
        lines.append(
            f"  {count} entries, the first of them {first}, have waited for their seal "
            "for over a minute: see that the worker runs."
        )
    return lines


def _holds(found: audit.Verification, witness: str) -> bool:
    return not any(f"The printed digest {witness}" in fault for fault in found.faults)
