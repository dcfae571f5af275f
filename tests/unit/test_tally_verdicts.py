"""What a catch test tells people to do; bad tickets and what cannot be told from them; ticket splits; events to steps."""

from __future__ import annotations

import numpy as np
import pytest

from evenstand.base.errors import InfeasibleError, RangeError
from evenstand.base.estimate import Est
from evenstand.model import Event, Fill, Load
from evenstand.solve.repeats import mean_of_repeats
from evenstand.solve.smoother import smooth
from evenstand.tally import (
    BalancePrior,
    BalanceStep,
    account,
    balance,
    calibration_line,
    catch_test,
    expected_catch,
    learned_ratio,
    row_distribution,
    split_ticket,
    steps_from_events,
)

PRIOR = BalancePrior(mass_kg=0, mass_sd_kg=5, factor_kg_rev=1.25, factor_sd=0.05)


def season(seed: int = 4, factor: float = 1.26, fills: int = 8) -> list[BalanceStep]:
    """A weighed fill of 4 t, then two looks good to 25 kg while it runs down."""
    rng, mass, steps = np.random.default_rng(seed), 0.0, []
    for _ in range(fills):
        mass += 4000
        steps.append(BalanceStep(turns=0, put_kg=4000 + 8 * rng.standard_normal(), put_sd_kg=8))
        for _ in range(2):
            mass -= 1500 * factor
            steps.append(BalanceStep(turns=1500, level_kg=mass + 25 * rng.standard_normal(), level_sd_kg=25))
    return steps


def test_one_sharp_catch_that_repeats_well_is_good() -> None:
    result = catch_test([5.03], 4, prior_cv=0.005)
    assert result.verdict == "good"
    assert result.catches_needed == 1


def test_an_ordinary_single_catch_asks_for_a_longer_one_before_a_second() -> None:
    result = catch_test([5.03], 4)
    assert result.verdict == "longer"
    assert result.why.index("more turns") < result.why.index("again")


def test_a_coarse_scale_is_named_and_the_turns_it_asks_for_make_it_fine() -> None:
    coarse = catch_test([0.40], 3, scale_division_kg=0.05)
    assert "scale is coarse" in coarse.why
    assert coarse.scale_share > 0.25
    turns = int(coarse.why.split("Catch ")[1].split()[0])
    assert catch_test([0.40 * turns / 3], turns, scale_division_kg=0.05).scale_share < 0.07


def test_catches_that_do_not_repeat_want_a_reason() -> None:
    result = catch_test([5.0, 5.6, 4.9], 4, prior_cv=0.01)
    assert result.verdict == "find out why"
    assert result.odd is not None
    assert result.odd < 0.01


def test_a_factor_unlike_the_one_expected_wants_a_reason_and_one_like_it_does_not() -> None:
    off = catch_test([5.6], 4, expected=Est(value=1.25, sd=0.01))
    assert off.verdict == "find out why"
    assert off.change == pytest.approx(0.12)
    assert "+12.0%" in off.why
    assert catch_test([5.1], 4, expected=Est(value=1.25, sd=0.01), prior_cv=0.005).verdict == "good"


def test_ordinary_catches_seldom_want_a_reason() -> None:
    """2,000 pairs at the usual spread: at most two in a hundred are called strange (the rule aims at one)."""
    rng = np.random.default_rng(9)
    strange = sum(catch_test(5 * (1 + 0.015 * rng.standard_normal(2)), 4).verdict == "find out why" for _ in range(2000))
    assert strange <= 40


def test_the_band_on_the_catch_card_holds_nineteen_of_twenty_good_catches() -> None:
    rng = np.random.default_rng(10)
    band = expected_catch(Est(value=1.25), 4, tare_kg=0.18, scale_division_kg=0.02)
    scale = np.round((5 * (1 + 0.015 * rng.standard_normal(4000)) + 0.18) / 0.02) * 0.02
    assert 0.95 <= np.mean((scale >= band.low_kg) & (scale <= band.high_kg)) <= 0.995


def test_one_value_without_a_prior_is_refused() -> None:
    with pytest.raises(RangeError, match="own spread"):
        mean_of_repeats([5.0], prior_cv=0.01, prior_dof=0)
    with pytest.raises(RangeError):
        mean_of_repeats([], prior_cv=0.01)


def test_a_clean_season_has_no_bad_ticket_and_finds_the_factor() -> None:
    found = balance(season(), PRIOR)
    assert found.bad_tickets == ()
    assert abs(found.factor_kg_rev[-1] - 1.26) < 3 * found.factor_sd[-1]
    assert found.factor_sd[-1] < 0.01


def test_clean_seasons_seldom_alarm() -> None:
    """300 seeded seasons without drift; the alarm aims at one in a thousand."""
    assert sum(bool(balance(season(seed), PRIOR, q_factor=1e-7).bad_tickets) for seed in range(300)) <= 3


@pytest.mark.parametrize(("fill", "put", "size"), [(2, 4000 + 1900, -1900), (5, 4000 - 2000, 2000), (4, 0.0, 4000)])
def test_a_wrong_entry_is_named_with_its_size(fill: int, put: float, size: float) -> None:
    steps = season()
    steps[3 * fill] = BalanceStep(turns=0, put_kg=put, put_sd_kg=8)
    found = balance(steps, PRIOR, q_factor=1e-7)
    assert len(found.bad_tickets) == 1
    ticket = found.bad_tickets[0]
    assert abs(ticket.size_kg - size) < 4 * ticket.sd_kg
    assert ticket.sd_kg < 60
    named = {(ticket.kind, ticket.step), *ticket.rivals}
    assert {("fill", 3 * fill), ("unrecorded", 3 * fill)} & named
    assert all(abs(step - 3 * fill) <= 1 for _, step in named)
    assert abs(found.factor_kg_rev[-1] - 1.26) < 4 * found.factor_sd[-1]


def test_a_wrong_look_is_told_from_a_wrong_fill() -> None:
    steps = season()
    k = 10
    steps[k] = BalanceStep(turns=1500, level_kg=(steps[k].level_kg or 0.0) + 700, level_sd_kg=25)
    found = balance(steps, PRIOR, q_factor=1e-7)
    assert [(t.kind, t.step) for t in found.bad_tickets] == [("level", k)]
    assert found.bad_tickets[0].size_kg == pytest.approx(700, abs=100)
    assert found.bad_tickets[0].rivals == ()


def test_at_the_last_look_a_wrong_fill_and_a_wrong_look_cannot_be_told_apart() -> None:
    steps = season()[:-1]
    steps[-2] = BalanceStep(turns=0, put_kg=2000, put_sd_kg=8)
    ticket = balance(steps, PRIOR, q_factor=1e-7).bad_tickets[0]
    kinds = {ticket.kind, *(kind for kind, _ in ticket.rivals)}
    assert {"fill", "level"} <= kinds


def test_a_start_known_exactly_is_no_special_case() -> None:
    """No drift, no doubt about mass or factor: the covariance is singular and the result is plain subtraction."""
    steps = [BalanceStep(turns=100, put_kg=500, level_kg=380.0, level_sd_kg=50), BalanceStep(turns=100)]
    found = balance(steps, BalancePrior(mass_kg=0, mass_sd_kg=0, factor_kg_rev=1.25, factor_sd=0), q_factor=0.0)
    assert found.mass_kg == pytest.approx([375, 250])
    assert found.mass_sd == pytest.approx([0, 0])


def test_a_look_without_a_variance_is_refused_by_the_smoother() -> None:
    eye = np.eye(2)
    with pytest.raises(RangeError, match="variance"):
        smooth(np.zeros(2), eye, eye[None], np.zeros((1, 2)), eye[None], np.array([1.0]), np.array([0.0]))
    with pytest.raises(RangeError, match="one entry"):
        smooth(np.zeros(2), eye, eye[None], np.zeros((2, 2)), eye[None], np.array([1.0]), np.array([1.0]))


def test_events_become_steps_with_turns_shared_out_by_time() -> None:
    events = [
        Event(at_s=0, bin="A", kind="turns", value=100, sd=0),
        Event(at_s=0, bin="A", kind="fill", value=4000, sd=10),
        Event(at_s=600, bin="B", kind="fill", value=1, sd=1),
        Event(at_s=1500, bin="A", kind="low-light", value=200, sd=30),
        Event(at_s=1500, bin="A", kind="fill", value=3900, sd=10),
        Event(at_s=2000, bin="A", kind="turns", value=4100, sd=0),
    ]
    steps = steps_from_events(events, "A")
    assert [s.turns for s in steps] == pytest.approx([0, 3000, 0, 1000])
    assert [s.put_kg for s in steps] == [4000, 0, 3900, 0]
    assert [s.level_kg for s in steps] == [None, 200, None, None]
    found = balance(steps, PRIOR)
    assert found.mass_kg[1] == pytest.approx(200, abs=60)
    assert found.factor_kg_rev[-1] == pytest.approx(3800 / 3000, abs=0.02)


def test_events_without_two_counts_or_with_a_counter_reset_are_refused() -> None:
    one = Event(at_s=0, bin="A", kind="turns", value=100, sd=0)
    with pytest.raises(RangeError, match="1 counts"):
        steps_from_events([one], "A")
    with pytest.raises(RangeError, match="backwards"):
        steps_from_events([one, Event(at_s=5, bin="A", kind="turns", value=3, sd=0)], "A")


def test_a_split_moves_the_guess_by_eye_and_not_the_weighed_fill() -> None:
    split = split_ticket(Est(value=19_840, sd=40), [Est(value=7000, sd=350), Est(value=7000, sd=350), Est(value=6000, sd=30)])
    assert [round(p.value) for p in split.parts] == [6921, 6921, 5999]
    assert split.cov[0, 1] < 0
    assert split.fits
    assert not split_ticket(Est(value=15_000, sd=40), [Est(value=7000, sd=350), Est(value=12_000, sd=350)]).fits
    with pytest.raises(RangeError):
        split_ticket(Est(value=1), [])
    with pytest.raises(RangeError, match="standard deviation"):
        split_ticket(Est(value=1), [Est(value=1)])


def test_rows_that_differ_are_told_from_scatter_by_several_tests() -> None:
    rng = np.random.default_rng(1)
    alike = 100 + rng.standard_normal((4, 12))
    unlike = alike + np.where(np.arange(12) % 2 == 0, 5, -5)
    assert (row_distribution(alike).row_p or 0) > 0.05
    assert (row_distribution(unlike).row_p or 1) < 1e-6
    assert row_distribution([100.0, 101, 99]).row_f is None
    assert row_distribution([[1.0, 2, 3], [1.0, 2, 3]]).row_f is None  # no scatter at all: nothing to hold the rows against


def test_a_line_wants_pairs_that_differ_and_are_uncertain() -> None:
    with pytest.raises(RangeError, match="same"):
        calibration_line([1, 1], [1, 2], 0, 1)
    with pytest.raises(RangeError, match="standard deviation"):
        calibration_line([1, 2], [1, 2], 0, 0)
    with pytest.raises(RangeError, match="line"):
        calibration_line([1], [1], 0, 1)
    assert issubclass(InfeasibleError, Exception)


def test_the_field_over_standing_is_learned_with_its_doubt() -> None:
    ratio = learned_ratio(Est(value=1.25, sd=0.0125), Est(value=1.275, sd=0.0051))
    assert ratio.value == pytest.approx(1.02)
    assert ratio.sd == pytest.approx(1.02 * np.hypot(0.01, 0.004), rel=1e-3)


def _load(kind: str, mass: float, **more: object) -> Load:
    return Load(key=f"{kind} {mass:g}", kind=kind, product="wheat", mass_kg=mass, **more)  # type: ignore[arg-type]


def _fill(put: float) -> Fill:
    return Fill(key=f"fill {put:g}", outfit="a", bin="A", product="wheat", put_kg=put, put_sd_kg=10)


def test_what_is_taken_back_out_of_a_bin_is_neither_lost_nor_counted_twice() -> None:
    out = _load("left-over", 400, from_key="a:A")
    found = account("wheat", [_load("delivery", 20_000), out], [_fill(12_000), _fill(8_000)])
    assert found.open_kg == pytest.approx(0)
    assert found.taken_out_kg == 400
    back = _load("return", 400, part_of=out.key)
    assert account("wheat", [_load("delivery", 20_000), out, back], [_fill(12_000), _fill(8_000)]).open_kg == pytest.approx(0)


def test_a_load_without_a_stated_doubt_gets_the_usual_one_for_how_it_is_known() -> None:
    """Common practice: a certified truck scale 0.2 %, a bin filled to the brim 4 %."""
    weighed = account("wheat", [_load("delivery", 20_000, how="truck-scale")], [])
    by_eye = account("wheat", [_load("delivery", 20_000, how="brim")], [])
    assert weighed.delivered_sd_kg == pytest.approx(40)
    assert by_eye.delivered_sd_kg == pytest.approx(800)


def test_the_bins_are_held_against_the_ground_sown() -> None:
    fills = [_fill(12_000), _fill(8_000)]
    agrees = account("wheat", [], fills, sown=Est(value=19_300, sd=300), in_bins=Est(value=600, sd=50))
    assert agrees.bin_open_kg == pytest.approx(100)
    assert agrees.bin_meaning.startswith("The bins agree")
    missed = account("wheat", [], fills[:1], sown=Est(value=19_300, sd=300), in_bins=Est(value=600, sd=50))
    assert "not entered" in missed.bin_meaning
    assert "needed" in account("wheat", [], fills).bin_meaning
