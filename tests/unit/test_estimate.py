"""Uncertainty through formulas."""

from __future__ import annotations

import math

import pytest

from evenstand.base.errors import RangeError
from evenstand.base.estimate import Est, propagate


def product(a, b):
    return a * b


def test_a_product_adds_relative_variances():
    """Closed form: (sd/ab)^2 = (sa/a)^2 + (sb/b)^2, to first order."""
    got = propagate(product, a=Est(value=10, sd=0.1), b=Est(value=5, sd=0.1))
    assert got.value == 50
    assert got.sd == pytest.approx(50 * math.hypot(0.01, 0.02), rel=1e-9)


def test_correlated_inputs_add_or_cancel():
    a, b = Est(value=10, sd=1), Est(value=10, sd=1)
    together = propagate(lambda a, b: a - b, a=a, b=b, correlation={("a", "b"): 1.0})
    apart = propagate(lambda a, b: a - b, a=a, b=b)
    assert together.sd == pytest.approx(0, abs=1e-9)
    assert apart.sd == pytest.approx(math.sqrt(2))


def test_a_linear_function_matches_a_simulation():
    """Independent check: 200,000 normal draws."""
    import numpy as np

    rng = np.random.default_rng(1)
    draws = rng.normal(1.25, 0.02, 200_000) * 20 / rng.normal(16.3, 0.05, 200_000)
    got = propagate(lambda f, w: f * 20 / w, f=Est(value=1.25, sd=0.02), w=Est(value=16.3, sd=0.05))
    assert got.sd == pytest.approx(draws.std(), rel=0.01)


def test_a_spread_that_leaves_the_range_is_shrunk_not_refused():
    def root(x):
        if x < 0:
            raise RangeError("below zero", where="x")
        return math.sqrt(x)

    assert propagate(root, x=Est(value=0.5, sd=1.0)).sd > 0


@pytest.mark.parametrize(("value", "sd"), [(math.nan, 1), (1, -1), (1, math.inf)])
def test_an_estimate_refuses_what_is_no_number(value, sd):
    with pytest.raises(RangeError):
        Est(value=value, sd=sd)


def test_plain_inputs_do_not_vary():
    assert propagate(product, a=Est(value=2, sd=0.5), b=3.0).sd == pytest.approx(1.5)
