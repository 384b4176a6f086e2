"""Consumer's and producer's risk of a process."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import multivariate_normal

from lab.metrology.conformity import (
    AcceptanceLimits,
    ProcessPrior,
    Tolerance,
    global_risk,
)
from lab.metrology.errors import NotFinite, OutOfDomain

TOLERANCE = Tolerance(Decimal("-1"), Decimal("1"))


def limits(guard_band: float) -> AcceptanceLimits:
    width = Decimal(str(guard_band))
    return AcceptanceLimits(-1 + width, 1 - width, None, None)


@given(
    st.floats(-0.5, 0.5),
    st.floats(0.2, 1.5),
    st.floats(0.05, 0.6),
    st.floats(0.0, 0.5),
)
def test_the_four_outcomes_add_up(
    mean: float, spread: float, u: float, guard_band: float
) -> None:
    risk = global_risk(TOLERANCE, limits(guard_band), u, ProcessPrior(mean, spread))
    conforming_accepted = risk.accepted - risk.consumer
    # The integral is exact to rounding; the prior beyond ten sigma is below 1e-22.
    assert conforming_accepted + risk.producer == pytest.approx(
        1.0 - risk.nonconforming, abs=1e-12
    )
    assert 0.0 <= risk.nonconforming_among_accepted <= 1.0


def test_scipys_bivariate_normal_gives_the_same_risk() -> None:
    # (true value, reading) are jointly normal: four corners of its distribution.
    mean, spread, u = 0.2, 0.6, 0.25
    joint = multivariate_normal(
        [mean, mean], [[spread**2, spread**2], [spread**2, spread**2 + u**2]]
    )

    def box(low: tuple[float, float], high: tuple[float, float]) -> float:
        return float(joint.cdf(np.array(high), lower_limit=np.array(low)))

    far = 30.0
    risk = global_risk(TOLERANCE, limits(0.1), u, ProcessPrior(mean, spread))
    consumer = box((-far, -0.9), (-1.0, 0.9)) + box((1.0, -0.9), (far, 0.9))
    # SciPy's bivariate distribution function is good to about 1e-8.
    assert risk.consumer == pytest.approx(consumer, abs=1e-7)
    assert risk.accepted == pytest.approx(box((-far, -0.9), (far, 0.9)), abs=1e-7)


@given(st.floats(0.0, 0.4), st.floats(0.01, 0.4))
def test_a_wider_guard_band_moves_risk_from_consumer_to_producer(
    guard_band: float, wider_by: float
) -> None:
    prior = ProcessPrior(0.0, 0.5)
    narrow = global_risk(TOLERANCE, limits(guard_band), 0.2, prior)
    wide = global_risk(TOLERANCE, limits(guard_band + wider_by), 0.2, prior)
    assert wide.consumer < narrow.consumer
    assert wide.producer > narrow.producer


def test_one_sided_and_far_away_processes() -> None:
    upper = Tolerance(None, Decimal(1))
    accepted = AcceptanceLimits(None, Decimal(1), None, None)
    risk = global_risk(upper, accepted, 0.1, ProcessPrior(5.0, 0.1))
    assert risk.nonconforming == pytest.approx(1.0, abs=1e-12)
    assert risk.accepted == pytest.approx(0.0, abs=1e-12)
    lower = Tolerance(Decimal(-1), None)
    risk = global_risk(
        lower, AcceptanceLimits(Decimal(-1), None, None, None), 0.1, ProcessPrior(5, 1)
    )
    assert risk.nonconforming == pytest.approx(9.865876e-10, rel=1e-6)


def test_refusals() -> None:
    form = Tolerance(None, Decimal(1), non_negative=True)
    with pytest.raises(OutOfDomain, match="non-negative characteristic"):
        global_risk(form, limits(0.0), 0.1, ProcessPrior(0.5, 0.1))
    with pytest.raises(OutOfDomain, match="u must be finite and greater than zero"):
        global_risk(TOLERANCE, limits(0.0), 0.0, ProcessPrior(0, 1))
    with pytest.raises(OutOfDomain, match="so small against the process"):
        global_risk(TOLERANCE, limits(0.0), 1e-6, ProcessPrior(0, 1))
    with pytest.raises(OutOfDomain, match="standard_deviation of the process"):
        ProcessPrior(0.0, 0.0)
    with pytest.raises(NotFinite, match="must be finite"):
        ProcessPrior(float("nan"), 1.0)
