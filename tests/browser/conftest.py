"""A running demo for the browser: one installation, filled once, served for all."""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from urllib.error import URLError
from urllib.request import urlopen

import pytest
from playwright.sync_api import Page

PROJECT = Path(__file__).resolve().parents[2]
CHROMIUM = shutil.which("chromium") or "/usr/bin/chromium"
#: Filling the demo takes under a minute on a quiet machine.
PATIENCE_S = 300


@pytest.fixture(scope="session")
def browser_type_launch_args(need) -> dict[str, object]:
    need(Path(CHROMIUM).exists(), "browser", "there is no chromium here.")
    return {
        "executable_path": CHROMIUM,
        "args": [
            "--no-sandbox",
            "--disable-gpu",
            "--disable-quic",
            "--disable-background-networking",
        ],
    }


@dataclass(frozen=True)
class Demo:
    """Where the demo answers, and who may sign in with which password."""

    address: str
    logins: dict[str, str]


@pytest.fixture(scope="session")
def demo(
    browser_type_launch_args, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Demo]:
    folder = tmp_path_factory.mktemp("demo")
    log = folder / "log"
    with log.open("w") as out:
        process = subprocess.Popen(
            [sys.executable, "manage.py", "demo", "--port", "0"],
            cwd=PROJECT,
            env={**os.environ, "UNBROKEN_DATA": str(folder), "DATABASE_URL": ""},
            stdout=out,
            stderr=subprocess.STDOUT,
        )
    try:
        yield _when_ready(process, log)
    finally:
        process.send_signal(signal.SIGINT)
        process.wait(timeout=60)


def _when_ready(process: subprocess.Popen[bytes], log: Path) -> Demo:
    begun = time.monotonic()
    while time.monotonic() - begun < PATIENCE_S:
        said = log.read_text()
        address = re.search(r"The demo is at (\S+)", said)
        logins = dict(re.findall(r"^  (\S+@\S+)\s+(\S+)", said, re.MULTILINE))
        if address and len(logins) > 3 and _is_well(address[1].rstrip("/")):
            return Demo(address[1].rstrip("/"), logins)
        if process.poll() is not None:
            break
        time.sleep(0.5)
    pytest.fail(f"The demo did not start:\n{log.read_text()[-3000:]}")


def _is_well(address: str) -> bool:
    """Tell whether the demo answers and its worker has shown that it lives."""
    try:
        with urlopen(f"{address}/healthz", timeout=20):
            return True
    except URLError:
        return False


def sign_in(page: Page, demo: Demo, who: str) -> None:
    """Sign in as a person of the demo; the code page shows the code there."""
    email = next(email for email in demo.logins if email.startswith(who))
    page.goto(f"{demo.address}/people/sign-in/")
    page.get_by_label("E-mail").fill(email)
    page.get_by_label("Password").fill(demo.logins[email])
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_load_state()
    if "/code/" in page.url:
        page.get_by_label("One-time code").fill(one_time_code(page))
        page.locator("main button.primary").first.click()
        page.wait_for_load_state()


def one_time_code(page: Page) -> str:
    """Return the code that a demo shows beside the field that asks for one."""
    return page.locator(".help strong").first.inner_text()
