"""Series of a made-up room, for the tests of lab.metrology.environment."""

from __future__ import annotations

import numpy as np
from hypothesis import strategies as st

from lab.metrology.environment import Band, Readings

BAND = Band(19.5, 20.5)
STEP_S = 700.0


def series(*pairs: tuple[float, float]) -> Readings:
    return Readings(np.array([p[0] for p in pairs]), np.array([p[1] for p in pairs]))


@st.composite
def rooms(draw: st.DrawFn) -> Readings:
    """Irregular readings with gaps, on a grid of values that meets the limits."""
    steps = draw(st.lists(st.sampled_from([60.0, 300.0, 600.0, 5000.0]), max_size=25))
    values = draw(
        st.lists(
            st.integers(188, 212).map(lambda tenth: tenth / 10),
            min_size=len(steps) + 1,
            max_size=len(steps) + 1,
        )
    )
    return Readings(np.cumsum([0.0, *steps]), np.array(values))
