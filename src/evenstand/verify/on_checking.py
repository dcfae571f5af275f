"""Reconciling and slips: no published figures, hand arithmetic only."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial
from typing import Any

from evenstand import check
from evenstand.base.units import to_metric
from evenstand.model import Finding, Reading
from evenstand.verify.pairs import Independent, Pair

PAIRS: tuple[Pair, ...] = ()

_TWO_SCALES = check.Relation(
    key="scales",
    about="bin A",
    text="two scales, one load",
    scale="mass",
    terms=(("put:A", 1.0), ("entered:A", -1.0)),
    loads={"fill-missed:A": 1.0},
)


def _two_scales() -> check.Reconciliation:
    """The same load on two scales, 100 and 103 kg, each to 1 kg: chi-square 9 / 2."""
    return check.reconcile_linear([[1, -1]], [100, 103], [1, 1])


def _far_scales() -> check.Reconciliation:
    """Three scales, one of them 30 kg off: the odd one is named and its size is the gap to the mean of the others."""
    return check.reconcile_linear([[1, -1, 0], [0, 1, -1]], [100, 100, 130], [1, 1, 1])


def _two_readings(put_kg: float = 103.0) -> check.Reconciliation:
    readings = (Reading(quantity="put:A", value=put_kg, sd=1.0), Reading(quantity="entered:A", value=100.0, sd=1.0))
    return check.reconcile((_TWO_SCALES,), readings)


def _fill() -> Finding:
    """5,000 kg went out over 40 ha that should have taken 4,000: all known exactly but the dose, to 2 %, and no overlap."""
    return check.fill_check(40, 6000, 1000, 100, put_sd_kg=1e-6, level_sd_kg=1e-6, dose_sd=0.02, overlap=(0, 0))


def _slips() -> tuple[check.Slip, ...]:
    """lb/ac typed for kg/ha, or a bushel of 56 lb for one of 50."""
    return check.typing_slip(120, 134.5, sd=0.005)


def _distance(ratio: float) -> float:
    return abs(math.log(134.5 / 120 / ratio))


def _lb_ac() -> float:
    return to_metric(1, "rate", "lb/ac")


def _chi2_tail(chi2: float) -> float:
    """Tail of chi-square on one degree of freedom by the error function."""
    return math.erfc(math.sqrt(chi2 / 2))


def _each(
    function: str, case: str, make: Callable[[], Any], *values: tuple[str, Callable[[Any], float], float], tolerance: float = 1e-9
) -> tuple[Independent, ...]:
    """One check for each value of a result."""

    def both(get: Callable[[Any], float], other: float) -> tuple[float, float]:
        return float(get(make())), other

    return tuple(
        Independent(function=function, case=f"{case}: {name}", how="closed form", tolerance=tolerance, compute=partial(both, get, other))
        for name, get, other in values
    )


INDEPENDENT: tuple[Independent, ...] = (
    *_each(
        "check.reconcile_linear",
        "two scales, one load",
        _two_scales,
        ("value", lambda r: r.values[0], 101.5),
        ("its spread", lambda r: r.sds[0], math.sqrt(0.5)),
        ("chi-square", lambda r: r.chi2, 4.5),
        ("degrees of freedom", lambda r: r.dof, 1),
        ("p", lambda r: r.p, _chi2_tail(4.5)),
        ("test of each", lambda r: abs(r.z[0]), 3 / math.sqrt(2)),
    ),
    *_each(
        "check.reconcile_linear",
        "three scales, one 30 kg off",
        _far_scales,
        ("size of the error", lambda r: abs(r.sizes[0]), 30.0),
        ("spread of that size", lambda r: r.size_sds[0], math.sqrt(1.5)),
    ),
    *_each(
        "check.reconcile",
        "two readings of one load",
        _two_readings,
        ("value", lambda r: r.values[0], 101.5),
        ("its spread", lambda r: r.sds[0], math.sqrt(0.5)),
        ("chi-square", lambda r: r.chi2, 4.5),
        ("degrees of freedom", lambda r: r.dof, 1),
        ("p", lambda r: r.p, _chi2_tail(4.5)),
        ("test of each", lambda r: abs(r.z[0]), 3 / math.sqrt(2)),
        tolerance=1e-6,
    ),
    *_each(
        "check.reconcile",
        "a fill of 2,000 kg that was not entered",
        partial(_two_readings, 2100.0),
        ("size of the cause", lambda r: r.sizes[0], 2000.0),
        ("spread of that size", lambda r: r.size_sds[0], math.sqrt(2)),
        tolerance=1e-4,  # the usual size of a fill weighs in a little
    ),
    *_each(
        "check.fill_check",
        "5,000 kg out where 4,000 were due",
        _fill,
        ("size", lambda f: f.size.value, 0.25),
        ("spread of the size", lambda f: f.size.sd, 0.02),
        ("low end", lambda f: f.low, 0.25 - 1.96 * 0.02),
        ("high end", lambda f: f.high, 0.25 + 1.96 * 0.02),
        tolerance=1e-6,
    ),
    *_each(
        "check.typing_slip",
        "120 asked, 134.5 seen",
        _slips,
        ("ratio of the likeliest", lambda s: s[0].ratio, _lb_ac()),
        ("ratio of the next", lambda s: s[1].ratio, 56 / 50),
        ("distances from what was seen", lambda s: s[0].z / s[1].z, _distance(_lb_ac()) / _distance(56 / 50)),
        ("weights", lambda s: sum(slip.weight for slip in s), 1.0),
    ),
)
