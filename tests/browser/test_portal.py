"""What a client and a stranger see, at both widths; refusals in words."""

from __future__ import annotations

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser

from tests.browser.conftest import Demo

pytestmark = pytest.mark.browser


@pytest.mark.parametrize("width", [390, 1440])
def test_the_stranger_s_pages_fit_and_are_accessible(
    browser: Browser, demo: Demo, width: int
) -> None:
    context = browser.new_context(viewport={"width": width, "height": 900})
    page = context.new_page()
    faults = []
    for path in ("/people/sign-in/", "/c/", "/c/AAAAAAAAAAAAAAAAAAAAAAAAAA/"):
        page.goto(f"{demo.address}{path}")
        wide = page.evaluate("document.documentElement.scrollWidth")
        if wide > width:
            faults.append(f"{path} is {wide} wide at {width}")
        found = Axe().run(page).response["violations"]
        faults += [f"{path}: {one['id']} {one['nodes'][0]['target']}" for one in found]
    context.close()
    assert not faults, "\n".join(faults)
