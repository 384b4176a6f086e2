"""The main job through the screens: from a booking to a certificate that is current."""

from __future__ import annotations

import re
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import Demo, one_time_code, sign_in

pytestmark = pytest.mark.browser
APPROVE = "Approve as it reads here"
SERIAL = "RR-3105-9001"
ZONE = ZoneInfo("Europe/London")


def minutes_ago(minutes: int) -> str:
    """Return a time as its field takes it, by the clock on the lab's wall."""
    then = datetime.now(ZONE) - timedelta(minutes=minutes)
    return f"{then:%Y-%m-%dT%H:%M}"


def send(page: Page, button: str) -> None:
    """Press a button and expect that the page that follows refuses nothing."""
    page.get_by_role("button", name=button, exact=True).first.click()
    page.wait_for_load_state()
    wrong = page.locator(".field-error, .form-errors").all_inner_texts()
    assert wrong == [], f"{page.url}: {wrong}"


def choose(page: Page, field: str, text: str) -> None:
    """Choose the first option of a list that holds a text."""
    box = page.locator(f"[name={field}]")
    options = box.locator("option").all_inner_texts()
    box.select_option(label=next(o for o in options if text in o))


def book(page: Page, demo: Demo) -> str:
    page.goto(f"{demo.address}/jobs/book/")
    choose(page, "customer", "Ravelin")
    send(page, "Go on")
    choose(page, "contact", "Mabel")
    page.locator("[name=order_number]").fill("PO 9001")
    choose(page, "part_revision", "RR-3105")
    page.locator("[name=serials]").fill(SERIAL)
    choose(page, "room", "Net Loft")
    send(page, "Save")
    page.locator("[name=asked]").fill("Measure everything and state conformity.")
    choose(page, "method", "MP-01")
    choose(page, "rule", "Guard band")
    send(page, "Save")
    return page.url.rstrip("/").rpartition("/")[2]


def receive(page: Page) -> None:
    page.get_by_role("link", name=f"Receive {SERIAL}").click()
    page.locator("[name=at]").fill(minutes_ago(20))
    page.locator("[name=condition]").fill("Clean, no damage seen.")
    page.locator("[name=place]").fill("Soaking bench")
    send(page, "Receive")


def check(page: Page, demo: Demo, begun: int, ended: int) -> None:
    page.goto(f"{demo.address}/checks/systems/2/record/CP-02/")
    page.locator("[name=artefact_temperature_text]").fill("20.1")
    choose(page, "thermometer", "CT-2")
    page.locator("[name=started_at]").fill(minutes_ago(begun))
    page.locator("[name=ended_at]").fill(minutes_ago(ended))
    for box in page.locator("[name^=position_][name$=_text]").all():
        box.fill("800.012")
    send(page, "Record the check")


def read_room(page: Page, demo: Demo) -> None:
    page.goto(f"{demo.address}/rooms/2/record/")
    page.locator("[name=temperature_text]").fill("20.1")
    page.locator("[name=humidity_text]").fill("48")
    choose(page, "sensor", "LG-4")
    page.locator("[name=at]").fill(minutes_ago(8))
    send(page, "Record the reading")


def touch(page: Page, minutes: int) -> None:
    """Read the item's temperature by contact, so many minutes ago."""
    page.get_by_role("link", name="Record a part temperature").click()
    page.locator("[name=temperature_text]").fill("20.2")
    choose(page, "thermometer", "CT-2")
    page.locator("[name=at]").fill(minutes_ago(minutes))
    send(page, "Save")


def measure(page: Page, job: str) -> None:
    page.goto(job)
    page.get_by_role("link", name="Start measuring").click()
    choose(page, "system", "Net Loft")
    page.locator("[name=at]").fill(minutes_ago(10))
    send(page, "Start")
    touch(page, 9)
    page.get_by_role("link", name="End", exact=True).click()
    page.locator("[name=at]").fill(minutes_ago(5))
    send(page, "End")


def evaluate(page: Page, demo: Demo, number: str) -> None:
    page.goto(f"{demo.address}/results/jobs/{number}/record/")
    values = {"1": "412.012", "2": "88.021", "3": "60.011", "4": "0.051"}
    rows = page.locator("tbody tr").filter(has=page.locator("[name$=value_text]"))
    for row, value in zip(rows.all(), values.values(), strict=True):
        row.locator("[name$=value_text]").fill(value)
        row.locator("[name$=expanded_u_text]").fill("0.045")
    page.locator("[name$=number_of_points]").fill("4200")
    page.locator("[name$=filter_text]").fill("none")
    page.locator("[name$=association]").fill("minimum zone")
    choose(page, "temperature_state", "Brought to 20")
    page.locator("[name=uncertainty_basis]").fill("Components by MP-01.")
    page.locator("[name=software]").fill("In-house evaluation 3.1")
    send(page, "Record")
    page.goto(f"{demo.address}/jobs/{number}/")
    send(page, "Finish the evaluation")


def draft(page: Page) -> str:
    page.get_by_role("link", name="Draft a certificate").click()
    page.locator("[name=deviations]").fill("None.")
    page.locator("main button.primary").first.click()
    page.wait_for_load_state()
    send(page, "Submit for review")
    return page.url


def issue(page: Page, demo: Demo, address: str) -> None:
    page.goto(address)
    # The worker judges the session a moment after its closing check.
    for _ in range(30):
        if page.get_by_role("button", name=APPROVE).count():
            break
        page.wait_for_timeout(500)
        page.reload()
    send(page, APPROVE)
    page.get_by_role("link", name="Issue", exact=True).click()
    page.get_by_label("Password").fill(demo.logins["ottoline@saltmarsh.example"])
    page.get_by_label("One-time code").fill(one_time_code(page))
    send(page, "Issue")


def test_a_technician_and_a_signatory_bring_a_job_to_a_current_certificate(
    browser: Browser, demo: Demo
) -> None:
    technician = browser.new_context().new_page()
    sign_in(technician, demo, "bryn")
    number = book(technician, demo)
    job = technician.url
    receive(technician)
    read_room(technician, demo)
    check(technician, demo, 14, 12)
    technician.goto(job)
    touch(technician, 11)
    expect(technician.get_by_text("Ready to measure")).to_be_visible()
    measure(technician, job)
    check(technician, demo, 4, 2)
    evaluate(technician, demo, number)
    address = draft(technician)

    signatory = browser.new_context().new_page()
    sign_in(signatory, demo, "ottoline")
    issue(signatory, demo, address)
    public = signatory.locator("a[href*='/c/']").first.get_attribute("href") or ""
    document = signatory.url.rstrip("/") + "/document/"
    for _ in range(60):
        answer = signatory.context.request.get(document)
        if answer.ok:
            break
        signatory.wait_for_timeout(500)
    assert answer.body().startswith(b"%PDF")

    stranger = browser.new_context().new_page()
    stranger.goto(demo.address + re.sub(r"^https?://[^/]+", "", public))
    expect(stranger.get_by_text("current", exact=False).first).to_be_visible()
    assert "Ravelin" not in stranger.content()
    for page in (technician, signatory, stranger):
        page.context.close()
