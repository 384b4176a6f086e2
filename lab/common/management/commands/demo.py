"""``manage.py demo``: a filled lab to look around in, on this machine only."""

from __future__ import annotations

import ipaddress
import os
import socket
import sys
from argparse import SUPPRESS, ArgumentParser
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final, Protocol

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.utils.module_loading import import_string

from lab.common.running import demo
from lab.common.running.prepare import FencesDown, prepare
from lab.common.running.web import AddressTaken, serve

#: The demo's content stands above every layer, so it is named and not imported:
#: ``load(stdout)`` fills an empty database, ``renew_logins()`` makes fresh
#: passwords and returns who may sign in with them.
DEMO_LOADER: Final = "lab.demo.load.load"
DEMO_LOGINS: Final = "lab.demo.logins.renew_logins"


class Login(Protocol):
    """What is printed of each person of the demo."""

    email: str
    password: str
    part: str


class Command(BaseCommand):
    """Fill a database of its own with an invented lab, and serve it."""

    help = "Serve an invented lab with a year of history, on this machine only."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--host", default="127.0.0.1")
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument("--surrounded", action="store_true", help=SUPPRESS)

    def handle(self, *args: Any, **options: Any) -> None:
        host, port = options["host"], options["port"]
        if not _is_loopback(host):
            raise CommandError(
                f"The demo stays on this machine, and {host} is not a loopback address."
            )
        if not (options["surrounded"] and settings.DEMO):
            folder = settings.DATA_DIR / "demo"
            self._start_surrounded(host, port or _free_port(host), folder, shift_s=0)
        settings.DATA_DIR.mkdir(parents=True, exist_ok=True)
        try:
            self._run(host, port)
        except (demo.NotADemo, AddressTaken, FencesDown) as refusal:
            raise CommandError(str(refusal)) from None
        self.stdout.write("Stopped.")

    def _run(self, host: str, port: int) -> None:
        demo.require_demo_database()
        shift_s = demo.wanted_clock_shift_s()
        if shift_s != settings.CLOCK_SHIFT_S:
            self._start_surrounded(host, port, settings.DATA_DIR, shift_s=shift_s)
        prepare(self.stdout)
        self._fill()
        logins = import_string(DEMO_LOGINS)()
        serve(
            host=host,
            port=port,
            threads=8,
            worker=True,
            ready=lambda address: self.announce(address, logins),
        )

    def announce(self, address: str, logins: Sequence[Login]) -> None:
        self.stdout.write(f"\nThe demo is at {address} – Ctrl-C stops it.")
        self.stdout.write("Sign in as one of these, with a password of this start:\n")
        width = max(len(login.email) for login in logins)
        for login in logins:
            self.stdout.write(
                f"  {login.email:{width}}  {login.password}  {login.part}"
            )
        self.stdout.flush()

    def _start_surrounded(
        self, host: str, port: int, folder: Path, *, shift_s: int
    ) -> None:
        command = [sys.executable, str(settings.BASE_DIR / "manage.py"), "demo"]
        command += ["--host", host, "--port", str(port), "--surrounded"]
        environment = demo.surroundings(
            os.environ, folder=folder, port=port, clock_shift_s=shift_s
        )
        demo.become(command, environment)

    def _fill(self) -> None:
        if demo.is_filled():
            return
        self.stdout.write("Filling the demo for the first time …")
        demo.fill(import_string(DEMO_LOADER), self.stdout)


def _is_loopback(host: str) -> bool:
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def _free_port(host: str) -> int:
    """Return a port that is free now: the demo's address must be known at its start."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family) as asked:
        asked.bind((host, 0))
        return int(asked.getsockname()[1])
