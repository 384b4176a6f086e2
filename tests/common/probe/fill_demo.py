"""Make a demo of people only, filled some days ago: ``fill_demo.py DAYS``."""

from __future__ import annotations

import sys
from datetime import timedelta

import django

django.setup()

from lab.common import clock  # noqa: E402 - needs Django set up
from lab.common.models import DemoMarker  # noqa: E402
from lab.demo.people import hire  # noqa: E402

if __name__ == "__main__":
    anchor = clock.today("UTC") - timedelta(days=int(sys.argv[1]))
    DemoMarker.objects.create(anchor=anchor)
    hire()
