"""Stops to fill, on a case that can be worked on the fingers."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np

from evenstand import supply
from evenstand.verify.pairs import Independent, Pair

PAIRS: tuple[Pair, ...] = ()


def _five_passes() -> supply.Stops:
    """Five passes of 1,000 kg from a bin of 2,500 kg: two stops at 10 minutes, the second one after pass 3 as the first was after 1."""
    return supply.plan_stops([[1000.0]] * 5, [2.5], [1000.0], [10.0] * 4)


def _on_the_fingers(get: Callable[[supply.Stops], float], by_hand: float) -> tuple[float, float]:
    return float(get(_five_passes())), by_hand


def _weighted(values: object) -> float:
    """Values of an array in one number that notices each of them."""
    flat = np.asarray(values, dtype=float).ravel()
    return float(flat @ np.arange(1, flat.size + 1))


_VALUES: tuple[tuple[str, Callable[[supply.Stops], float], float], ...] = (
    ("first stop", lambda s: s.after_pass[0], 1),
    ("second stop", lambda s: s.after_pass[1], 3),
    ("latest first stop", lambda s: s.latest_pass[0], 2),
    ("latest second stop", lambda s: s.latest_pass[1], 3),
    ("left on arrival", lambda s: _weighted(s.left_kg), 1500 + 2 * 500 + 3 * 500),
    ("least left", lambda s: _weighted(s.least_left_kg), 500),
    ("added", lambda s: _weighted(s.add_kg), 1000 + 2 * 2000),
    ("needed of the last fill", lambda s: _weighted(s.last_fill_kg), 1500),
    ("full", lambda s: _weighted(s.full_kg), 2500),
    ("share of the rate", lambda s: _weighted(s.rate_share), 1),
    ("cost", lambda s: s.cost, 20),
    ("bound", lambda s: s.bound, 20),
    ("ways to share out one bin", lambda s: s.choices_tried, 1),
)

INDEPENDENT: tuple[Independent, ...] = tuple(
    Independent(
        function="supply.plan_stops",
        case=f"five passes of 1,000 kg from a bin of 2,500 kg: {name}",
        how="on the fingers",
        compute=partial(_on_the_fingers, get, by_hand),
    )
    for name, get, by_hand in _VALUES
)
