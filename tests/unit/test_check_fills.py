"""The fill check and its running total."""

from __future__ import annotations

import math

import pytest

from evenstand.base.errors import InputError, RangeError
from evenstand.check import FillTaken, fill_check, fill_series

GLANCE = {"put_sd_kg": 300.0, "level_sd_kg": 420.0}  # 7.5 % of a load by conveyor time, a tenth of a 4.2 t bin by eye
LIGHT = {"put_sd_kg": 0.0, "level_sd_kg": 60.0}


def taken(n: int, *, put_sd: float, level_sd: float, ratio: float = 1.0) -> list[FillTaken]:
    area = 4000 / 120
    return [
        FillTaken(area_ha=area / ratio, put_kg=4000, put_sd_kg=put_sd, level_kg=0.0 if i == n - 1 else None, level_sd_kg=level_sd)
        for i in range(n)
    ]


def test_a_two_per_cent_factor_error_after_one_glance_cannot_be_told() -> None:
    found = fill_check(4000 / (120 * 1.02), 4000, 0, 120, **GLANCE)
    assert (found.state, found.suspects) == ("cannot-tell", ())
    assert "could hide" in found.claim
    assert found.settle_by


def test_four_tonnes_by_a_glance_are_known_to_13_per_cent_and_after_five_fills_to_4() -> None:
    """Against common practice: 4 t by a glance +-13 % (1 sd), +-4 % after five fills."""
    one = fill_series(taken(1, put_sd=300, level_sd=420), 120, dose_sd=0)
    five = fill_series(taken(5, put_sd=300, level_sd=420), 120, dose_sd=0)
    assert round(100 * one.sd) == 13
    assert round(100 * five.sd) == 4


def test_four_tonnes_to_the_low_level_light_are_known_to_1_5_per_cent_and_after_five_fills_to_0_3() -> None:
    """Against common practice: with the low-level light or a weighed left-over +-1.5 %, +-0.3 % after five."""
    assert fill_series(taken(1, put_sd=0, level_sd=60), 120, dose_sd=0).sd == pytest.approx(0.015)
    assert fill_series(taken(5, put_sd=0, level_sd=60), 120, dose_sd=0).sd == pytest.approx(0.003)


def test_a_fill_that_agrees_holds_and_says_its_band() -> None:
    found = fill_check(29.6, 4000, 400, 121, put_sd_kg=20, level_sd_kg=50)
    assert found.state == "holds"
    assert "3\u202f600 kg went out" in found.claim
    assert found.low is not None
    assert found.high is not None
    assert found.low < 0 < found.high


@pytest.mark.parametrize(("left", "state"), [(400, "holds"), (80, "doubtful"), (900, "does-not-hold")])
def test_the_further_off_the_surer_the_verdict(left: float, state: str) -> None:
    assert fill_check(29.6, 4000, left, 121, put_sd_kg=20, level_sd_kg=50).state == state


def test_overlap_takes_product_on_one_side_only() -> None:
    exact = {"put_sd_kg": 4.0, "level_sd_kg": 4.0, "dose_sd": 0.003}
    assert fill_check(100, 12_360, 0, 120, **exact, overlap=(0, 0.03)).state == "holds"
    assert fill_check(100, 12_360, 0, 120, **exact, overlap=(0, 0)).state == "does-not-hold"
    assert fill_check(100, 11_640, 0, 120, **exact, overlap=(0, 0.03)).state == "does-not-hold"


def test_one_fill_never_blames_the_meter_alone() -> None:
    light = fill_check(29.6, 4000, 900, 121, put_sd_kg=20, level_sd_kg=50, bin="A")
    heavy = fill_check(29.6, 4600, 400, 121, put_sd_kg=20, level_sd_kg=50, bin="A")
    assert light.suspects[0][0] == "fill-missed:A"
    assert {"factor:A", "fill-doubled:A"} <= set(heavy.suspects[0])
    assert "meter fault from one fill" in light.not_claimed


def test_against_the_counter_width_and_distance_cancel() -> None:
    found = fill_check(29.6, 4000, 900, 121, put_sd_kg=20, level_sd_kg=50, overlap=(0, 0))
    assert not {"width", "distance", "overlap"} & set(found.suspects[0])


def test_a_small_sure_error_is_left_alone() -> None:
    found = fill_check(100, 12_360, 0, 120, put_sd_kg=4, level_sd_kg=4, dose_sd=0.003, overlap=(0, 0))
    assert (found.state, found.worth_stopping) == ("does-not-hold", False)
    assert "leave" in found.claim


def test_the_reading_asked_for_is_the_one_in_doubt() -> None:
    assert "low-level light" in fill_check(33, 4000, 0, 121, put_sd_kg=10, level_sd_kg=500).settle_by
    assert "weigh the next load" in fill_check(33, 4000, 0, 121, put_sd_kg=500, level_sd_kg=10).settle_by
    assert "catch" in fill_check(33, 4000, 0, 121, put_sd_kg=10, level_sd_kg=10, dose_sd=0.1).settle_by


def test_more_left_than_ever_was_in_is_refused() -> None:
    with pytest.raises(RangeError, match="more than was ever"):
        fill_check(20, 2000, 3000, 120, put_sd_kg=10, level_sd_kg=50)


def test_every_wrong_number_is_named_at_once() -> None:
    with pytest.raises(RangeError) as caught:
        fill_check(-1, -2, 0, 0, put_sd_kg=1, level_sd_kg=1, overlap=(0.2, 0.1))
    text = str(caught.value)
    assert all(name in text for name in ("area_ha", "put_kg", "dose_kg_ha", "overlap"))


def test_units_of_the_sentence_follow_the_profile() -> None:
    assert " lb " in fill_check(29.6, 4000, 400, 121, put_sd_kg=20, level_sd_kg=50, profile="us").claim


def test_the_total_says_how_many_more_fills_until_2_per_cent_shows() -> None:
    one = fill_series(taken(1, put_sd=10, level_sd=200), 120, dose_sd=0.004)
    assert one.more_fills is not None
    assert one.more_fills > 0
    later = fill_series(taken(1 + one.more_fills, put_sd=10, level_sd=200), 120, dose_sd=0.004)
    assert later.more_fills == 0
    assert 2 * later.sd <= 0.02


def test_fills_alone_never_show_2_per_cent_of_a_dose_known_to_2() -> None:
    assert fill_series(taken(5, put_sd=0, level_sd=60), 120, dose_sd=0.02).more_fills is None


def test_after_five_weighed_fills_a_2_per_cent_error_is_seen() -> None:
    found = fill_series(taken(5, put_sd=8, level_sd=60, ratio=1.025), 120, dose_sd=0.004, overlap=(0, 0))
    assert found.finding.state in ("doubtful", "does-not-hold")
    assert found.ratio == pytest.approx(1.025)


def test_one_interval_off_by_a_load_is_named() -> None:
    fills = [FillTaken(area_ha=30, put_kg=3600, put_sd_kg=10, level_kg=left, level_sd_kg=60) for left in (0, 0, 1900, 1900)]
    assert fill_series(fills, 120).odd == 3


def test_a_total_without_a_level_at_the_end_is_refused() -> None:
    with pytest.raises(InputError, match="level at the end"):
        fill_series([FillTaken(area_ha=30, put_kg=3600, put_sd_kg=10)], 120)
    with pytest.raises(InputError, match="no fill"):
        fill_series([], 120)


def test_exact_numbers_give_an_exact_verdict() -> None:
    exact = fill_check(10, 1200, 0, 120, put_sd_kg=0, level_sd_kg=0, dose_sd=0, overlap=(0, 0))
    assert exact.state == "holds"
    off = fill_check(10, 1201, 0, 120, put_sd_kg=0, level_sd_kg=0, dose_sd=0, overlap=(0, 0))
    assert (off.state, math.isfinite(off.size.value if off.size else math.nan)) == ("does-not-hold", True)
