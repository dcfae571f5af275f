"""The benchmark's inputs are fresh and seeded, and ours equals its peers on them."""

from __future__ import annotations

import numpy as np
import pytest
from benchmarks.covering import gridded, ours, quads, run_length, strips
from benchmarks.logs import straight
from benchmarks.timing import compare


def test_ours_equals_both_peers_on_a_small_straight_log():
    case = strips(6_000, 3)
    assert run_length(case) == pytest.approx(ours(case), rel=1e-8)
    assert quads(case) == pytest.approx(ours(case), rel=1e-8)
    assert gridded(case) == pytest.approx(ours(case), rel=1e-8)


def test_a_seed_gives_its_log_and_another_seed_another():
    assert np.array_equal(straight(2_000, 4).xy_m, straight(2_000, 4).xy_m)
    assert not np.array_equal(straight(2_000, 4).xy_m, straight(2_000, 5).xy_m)


def test_a_peer_that_is_off_is_named_and_a_wrong_result_is_not_passed():
    args = {"seed": 1, "turns": 7, "tolerance": 1e-6, "size": 1, "note": ""}
    off = compare("x", "y", lambda s: s, lambda s: 1.0, lambda s: 1.0 if s != 3 else 2.0, referee=lambda s: 1.0, **args)
    assert off.same_result
    assert off.peer_off == (3,)
    wrong = compare("x", "y", lambda s: s, lambda s: 1.0, lambda s: 1.1, referee=lambda s: 1.1, **args)
    assert not wrong.same_result
    assert len(wrong.peer_off) == 7
