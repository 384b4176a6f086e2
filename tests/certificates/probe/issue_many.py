"""Issue certificates, one for each of many items: ``issue_many.py COUNT``."""

from __future__ import annotations

import sys
from types import SimpleNamespace

import django

django.setup()

from lab.accounts.services import create_person  # noqa: E402 - needs Django set up
from lab.common import clock  # noqa: E402
from lab.common.actors import PROGRAM  # noqa: E402
from tests import chain  # noqa: E402

ROLES = {
    "coordinator": "coordinator",
    "technician": "technician",
    "technician2": "technician",
    "technician3": "technician",
    "signatory": "signatory",
    "quality": "quality_manager",
}


def hire() -> SimpleNamespace:
    return SimpleNamespace(
        **{
            part: create_person(
                email=f"{part}@saltmarsh.example",
                name=part.title(),
                role=role,
                password=None,
                acting_user=PROGRAM,
            )
            for part, role in ROLES.items()
        }
    )


def main(count: int) -> None:
    lab = chain.found_lab(hire())
    serials = [f"RR-1-{number}" for number in range(count)]
    job = chain.certifiable_job(lab, serials=serials)
    with clock.set_to(chain.at(14)):
        for item in job.items.all():
            chain.issue(lab, chain.reviewed_draft(lab, job, items=[item]))


if __name__ == "__main__":
    main(int(sys.argv[1]))
