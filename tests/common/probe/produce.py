"""Ask for work as a web process would: ``produce.py KIND FIRST COUNT``."""

from __future__ import annotations

import sys

import django
from django.db import transaction

django.setup()

from lab.common.work import enqueue  # noqa: E402 - needs Django set up


def main(kind: str, first: int, count: int) -> None:
    for object_id in range(first, first + count):
        with transaction.atomic():
            enqueue(kind, object_id)


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]))
