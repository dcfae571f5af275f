"""Mass by the time a conveyor ran: delivery from weighed runs, and what minutes at it give."""

from __future__ import annotations

import math
import random

import pytest

from evenstand.base.errors import RangeError
from evenstand.base.estimate import Est
from evenstand.reference import fill_sd
from evenstand.tally import ConveyorRun, conveyor_delivery, conveyor_mass


def run(kg: float, minutes: float, sd: float = 0.0) -> ConveyorRun:
    return ConveyorRun(seconds=60 * minutes, put_kg=kg, put_sd_kg=sd)


def test_one_weighed_run_gives_its_delivery_with_the_usual_spread_of_the_next() -> None:
    found = conveyor_delivery([run(3000, 10)])  # 300 kg/min
    assert found.value == pytest.approx(5.0)
    share = fill_sd("conveyor", 1.0)
    assert found.relative_sd == pytest.approx(math.sqrt(2) * share)  # of the next run, and of the one it was learned from
    mass = conveyor_mass(12 * 60, found)
    assert mass.value == pytest.approx(3600)
    assert mass.relative_sd == pytest.approx(found.relative_sd)


def test_a_typed_delivery_is_as_good_as_common_practice_says() -> None:
    mass = conveyor_mass(600, Est(value=5.0, basis="typed", source="typed"))
    assert (mass.value, mass.sd) == (pytest.approx(3000), pytest.approx(fill_sd("conveyor", 3000)))


def test_even_runs_make_the_band_narrow_and_uneven_ones_keep_it_wide() -> None:
    even = conveyor_delivery([run(3000 + d, 10) for d in (-10, 5, 10, -5) * 6])
    uneven = conveyor_delivery([run(3000 + d, 10) for d in (-600, 300, 600, -300) * 6])
    assert even.relative_sd < fill_sd("conveyor", 1.0) < uneven.relative_sd


def test_the_band_holds_what_the_next_run_truly_gives() -> None:
    chance = random.Random(20270518)
    share, held, tries = fill_sd("conveyor", 1.0), 0, 1500
    for _ in range(tries):
        runs = [run(3000 * (1 + share * chance.gauss(0, 1)), 10) for _ in range(5)]
        delivery = conveyor_delivery(runs)
        low, high = conveyor_mass(600, delivery).interval()
        held += low <= 3000 * (1 + share * chance.gauss(0, 1)) <= high
    assert 0.93 <= held / tries <= 0.97


@pytest.mark.parametrize("seconds", [0.0, -1.0, math.nan, math.inf, 1e6])
def test_no_time_is_refused(seconds: float) -> None:
    with pytest.raises(RangeError, match="minutes"):
        conveyor_mass(seconds, Est(value=5.0))
    with pytest.raises(RangeError, match="minutes"):
        conveyor_delivery([ConveyorRun(seconds=seconds, put_kg=3000, put_sd_kg=0)])


def test_nothing_to_learn_from_is_refused() -> None:
    with pytest.raises(RangeError, match="no weighed run"):
        conveyor_delivery([])
    with pytest.raises(RangeError, match="put"):
        conveyor_delivery([run(0, 10)])
    with pytest.raises(RangeError, match="delivery"):
        conveyor_mass(600, Est(value=0.0))
