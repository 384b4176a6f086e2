"""Each page at two widths, light and dark: no sideways scroll, axe finds nothing."""

from __future__ import annotations

from collections.abc import Iterable

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import Demo, sign_in

pytestmark = pytest.mark.browser
PAGES = (
    "/",
    "/jobs/",
    "/customers/",
    "/customers/1/",
    "/parts/",
    "/parts/revisions/1/",
    "/parts/1/revisions/add/",
    "/devices/",
    "/devices/SB-2/",
    "/devices/due/",
    "/devices/intervals/",
    "/devices/SB-2/drift/",
    "/devices/calibrations/1/",
    "/checks/",
    "/checks/systems/1/",
    "/checks/systems/1/record/CP-01/",
    "/checks/systems/2/charts/CP-03/",
    "/checks/systems/2/record/CP-03/",
    "/checks/1/",
    "/rooms/",
    "/rooms/1/",
    "/rooms/1/air/",
    "/results/1/",
    "/jobs/book/",
    "/certificates/",
    "/certificates/drafts/1/",
    "/laboratory/",
    "/laboratory/authorisations/",
    "/people/",
    "/people/me/",
    "/people/me/password/",
)
#: Forms, empty; those of the laboratory itself are the quality manager's.
FORMS = (
    "/parts/add/",
    "/devices/add/",
    "/devices/SB-2/change/",
    "/devices/SB-2/status/",
    "/devices/SB-2/calibrate/",
    "/devices/LG-1/calibrate/",
    "/devices/SB-2/calibrate/file/",
    "/devices/SB-1/send/",
    "/devices/SB-1/stand-ins/",
    "/devices/providers/",
    "/rooms/1/record/",
    "/checks/procedures/",
    "/checks/procedures/CP-01/",
    "/checks/systems/1/break/",
    "/checks/warnings/1/",
    "/laboratory/methods/MP-01/",
    "/laboratory/rules/1/",
)
#: The coordinator's own forms.
DESK = ("/customers/add/", "/customers/1/change/", "/customers/1/contacts/add/")
#: Lists whose first entry is looked at too: its number depends on the day.
LISTS = ("/jobs/", "/jobs/?state=evaluated", "/jobs/?state=returned", "/certificates/")


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [390, 1440])
def test_pages_fit_and_are_accessible(
    browser: Browser, demo: Demo, width: int, scheme: str
) -> None:
    context = browser.new_context(
        viewport={"width": width, "height": 900},
        color_scheme=scheme,  # type: ignore[arg-type]
    )
    page = context.new_page()
    sign_in(page, demo, "teodor")
    faults = looked_at(page, demo, (*PAGES, *FORMS, *first_entries(page, demo)))
    context.clear_cookies()
    sign_in(page, demo, "imke")
    faults += looked_at(page, demo, DESK)
    context.close()
    assert not faults, "\n".join(faults)


def looked_at(page: Page, demo: Demo, paths: Iterable[str]) -> list[str]:
    """Return what is too wide on some pages, and what axe finds on them."""
    width = page.viewport_size["width"] if page.viewport_size else 0
    faults = []
    for path in paths:
        answer = page.goto(f"{demo.address}{path}")
        if answer is None or not answer.ok:
            faults.append(f"{path} is not shown: {answer and answer.status}")
        wide = page.evaluate("document.documentElement.scrollWidth")
        if wide > width:
            faults.append(f"{path} is {wide} wide at {width}")
        found = Axe().run(page).response["violations"]
        faults += [f"{path}: {one['id']} {one['nodes'][0]['target']}" for one in found]
    return faults


#: Pages used standing at the machine, with gloves.
AT_THE_MACHINE = ("/checks/systems/1/record/CP-01/", "/rooms/1/record/")
#: What a finger aims at; a link within a sentence is as high as its line (WCAG 2.5.8).
TARGETS = """
(least) => [...document.querySelectorAll(
    'main button, main select, main textarea, main summary, nav a, main .button, '
    + 'main input:not([type=hidden])'
)].filter(one => one.offsetParent !== null).map(one => {
    const round = one.matches('[type=checkbox], [type=radio]');
    const own = round ? one.closest('label') : one;
    const box = (own || one).getBoundingClientRect();
    return [one.outerHTML.slice(0, 60), Math.min(box.width, box.height)];
}).filter(([_, size]) => size < least)
"""


@pytest.mark.parametrize("width", [390, 1440])
def test_targets_are_large_enough(browser: Browser, demo: Demo, width: int) -> None:
    context = browser.new_context(viewport={"width": width, "height": 900})
    page = context.new_page()
    sign_in(page, demo, "teodor")
    small = {}
    for path in (*PAGES, *AT_THE_MACHINE, *first_entries(page, demo)):
        page.goto(f"{demo.address}{path}")
        found = page.evaluate(TARGETS, 44 if path in AT_THE_MACHINE else 24)
        if found:
            small[path] = found
    context.close()
    assert small == {}


def first_entries(page: Page, demo: Demo) -> list[str]:
    """Return the address of the first entry of each list."""
    found = []
    for path in LISTS:
        page.goto(f"{demo.address}{path}")
        link = page.locator("main tbody th a").first
        found.append(link.get_attribute("href") or "")
    return found


def test_a_code_is_asked_for_where_the_role_needs_one(
    browser: Browser, demo: Demo
) -> None:
    page = browser.new_context().new_page()
    sign_in(page, demo, "ruben")
    expect(page.get_by_role("heading", name="Board")).to_be_visible()
    page.context.close()


def test_a_page_works_without_javascript(browser: Browser, demo: Demo) -> None:
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    sign_in(page, demo, "bryn")
    page.get_by_role("link", name="Customers", exact=True).click()
    page.get_by_role("link", name="Ravelin Ropeways").click()
    expect(page.get_by_role("heading", name="Contacts")).to_be_visible()
    context.close()
