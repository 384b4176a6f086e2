"""A check recorded on a telephone's width by keyboard alone, and a form sent twice."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import Demo, sign_in

pytestmark = pytest.mark.browser
RECORD = "/checks/systems/2/record/CP-03/"
#: What the sphere reads at 20 °C: some micrometres too large, well within 25 µm.
READINGS = ("25.0051", "25.0048", "25.0056", "25.0060")
FOCUSED = "document.activeElement.name || document.activeElement.textContent.trim()"


def tab_to(page: Page, name: str) -> None:
    """Press Tab until the field or the button of that name has the focus."""
    for _ in range(60):
        if page.evaluate(FOCUSED) == name:
            return
        page.keyboard.press("Tab")
    raise AssertionError(f"Tab never reaches {name}.")


def test_a_check_is_recorded_by_keyboard_alone_on_a_small_screen(
    browser: Browser, demo: Demo
) -> None:
    context = browser.new_context(viewport={"width": 390, "height": 844})
    page = context.new_page()
    sign_in(page, demo, "bryn")
    page.goto(f"{demo.address}{RECORD}")
    tab_to(page, "artefact_temperature_text")
    page.keyboard.type("20.0")
    tab_to(page, "position_0_text")
    for reading in READINGS:
        page.keyboard.type(reading)
        page.keyboard.press("Enter")  # to the next reading, and at last to the button
    assert page.evaluate(FOCUSED) == "Record the check"
    expect(page.locator("#verdict_position_3")).to_contain_text("Far, 3 m (2): passed")
    expect(page.locator("#verdicts")).to_contain_text("4 of 4 readings: all pass")
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    page.keyboard.press("Enter")
    expect(page.get_by_role("status")).to_contain_text("Recorded. All 4 positions pass")
    expect(page.get_by_role("cell", name=f"{READINGS[3]} mm")).to_be_visible()
    context.close()


PASTE = """
(lines) => {
    const field = document.querySelector('[name=position_0_text]');
    const clipboardData = new DataTransfer();
    clipboardData.setData('text', lines.join('\\r\\n'));
    const options = {clipboardData, bubbles: true, cancelable: true};
    field.dispatchEvent(new ClipboardEvent('paste', options));
}
"""
SEND_TWICE = """
async () => {
    const form = document.querySelector('main form');
    const send = () => fetch(form.action, {method: 'POST', body: new FormData(form)});
    const answers = await Promise.all([send(), send()]);
    return answers.map(answer => answer.url);
}
"""


def test_a_column_is_pasted_and_a_form_sent_twice_makes_one_check(
    browser: Browser, demo: Demo
) -> None:
    context = browser.new_context()
    page = context.new_page()
    sign_in(page, demo, "bryn")
    page.goto(f"{demo.address}{RECORD}")
    page.locator("[name=artefact_temperature_text]").fill("20.0")
    page.evaluate(PASTE, READINGS)
    for number, reading in enumerate(READINGS):
        field = page.locator(f"[name=position_{number}_text]")
        expect(field).to_have_value(reading)
    first, second = page.evaluate(SEND_TWICE)
    assert re.search(r"/checks/\d+/$", first)
    assert first == second
    # Pressing the form's own button afterwards leads to that check, too.
    page.get_by_role("button", name="Record the check").click()
    page.wait_for_load_state()
    assert page.url == first
    context.close()
