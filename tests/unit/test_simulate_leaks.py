"""A leak and a bridge move what leaves a bin, and nothing else that is read."""

from __future__ import annotations

import numpy as np
import pytest

from evenstand.desk.days import demo_day
from evenstand.simulate import Day


def day(*faults: str) -> Day:
    return demo_day(4, faults, world="still", max_area_ha=60.0, optional="all", level_how="weighed", fill_how="truck-scale")[0]


def test_a_leak_takes_its_share_out_of_the_field_and_not_out_of_the_catch() -> None:
    plain, leaking = day(), day("lid:D=-10")
    assert leaking.truth.factors["D"] / plain.truth.factors["D"] == pytest.approx(0.9)
    read = {r.quantity: r.value for r in plain.readings}
    again = {r.quantity: r.value for r in leaking.readings}
    for quantity in ("catch_factor:D", "shown_mass:D", "area_counter", "distance_shown", "catch_factor:A", "shown_mass:A"):
        assert again[quantity] == pytest.approx(read[quantity])
    assert leaking.truth.sown_kg["D"] == pytest.approx(0.9 * plain.truth.sown_kg["D"])


def test_a_bridge_holds_back_its_share_for_a_part_of_the_day_while_the_meter_turns() -> None:
    plain, bridged = day(), day("bridge:A=100")
    lost = 1 - bridged.truth.sown_kg["A"] / plain.truth.sown_kg["A"]
    assert 0.05 < lost < 0.21
    assert bridged.truth.sown_kg["D"] == pytest.approx(plain.truth.sown_kg["D"])
    assert bridged.trail.revs is not None
    assert plain.trail.revs is not None
    assert float(bridged.trail.revs[-1, 0]) == pytest.approx(float(plain.trail.revs[-1, 0]), rel=1e-4)
    half = day("bridge:A=50")
    assert 1 - half.truth.sown_kg["A"] / plain.truth.sown_kg["A"] == pytest.approx(lost / 2, rel=0.02)
    assert np.isfinite(half.truth.left_kg["A"])
