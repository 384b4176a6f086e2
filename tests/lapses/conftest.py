"""The chain's lab, as of its working day."""

from __future__ import annotations

import pytest

from lab.common import clock
from tests.chain import Lab, at, found_lab


@pytest.fixture
def lab(people) -> Lab:
    with clock.set_to(at(7)):
        return found_lab(people)
