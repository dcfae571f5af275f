"""Loads: tickets split among fills and fields, what should be left, orders, and what is wrong on paper."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest

from evenstand.base.errors import InputError
from evenstand.base.estimate import Est
from evenstand.check.load_words import LoadNames, load_findings
from evenstand.check.loading import judge_loads, swapped_masses
from evenstand.model import Fill, Load, Order
from evenstand.solve.portions import portion_interval, portion_out
from evenstand.supply import InBin, Sown, load_balance, owed, shortfall
from evenstand.tally.tickets import split_ticket


def load(key, kind="delivery", mass=20_000.0, sd=40.0, **more):
    return Load(key=key, kind=kind, product="wheat", mass_kg=mass, sd_kg=sd, at=more.pop("at", f"2027-05-01T{len(key):02d}:00"), **more)


def fill(key, put, sd=None, **more):
    base = {"outfit": "A", "bin": "D", "product": "wheat", "job": "home", "how": "share", "at": f"2027-05-02T{key}"}
    return Fill(key=key, put_kg=put, put_sd_kg=0.04 * put if sd is None else sd, **{**base, **more})


NAMES = LoadNames(record=lambda k: f"record {k}" if k else "", job=str, lot=lambda k: f"lot {k}", bin=str, mass_of=lambda k: 4100.0)


# the generic maths ------------------------------------------------------------------------------------------------------
def every_active_set(balances, rows, seen, sds):
    """The least misfit over all sets of flows above zero, each solved without signs: slow and plain."""
    n, best = rows.shape[1], np.inf
    for size in range(n + 1):
        for chosen in map(list, itertools.combinations(range(n), size)):
            x = np.zeros(n)
            if chosen:
                _, s, vt = np.linalg.svd(balances[:, chosen])
                free = vt[int((s > 1e-9).sum()) :].T
                if free.size:
                    x[chosen] = free @ np.linalg.lstsq((rows[:, chosen] / sds[:, None]) @ free, seen / sds, rcond=None)[0]
            if (x >= -1e-9).all():
                best = min(best, float((((rows @ x - seen) / sds) ** 2).sum()))
    return best


def test_portions_have_the_least_misfit_of_all_active_sets_and_balance():
    dice = np.random.default_rng(4)
    for _ in range(60):
        balances = dice.integers(-1, 2, (2, 6)).astype(float)
        rows = dice.integers(0, 2, (6, 6)).astype(float)
        seen, sds = dice.normal(3, 4, 6), dice.uniform(0.1, 2, 6)
        made = portion_out(balances, rows, seen, sds)
        assert made.chi2 == pytest.approx(every_active_set(balances, rows, seen, sds), rel=1e-4, abs=1e-5)
        assert np.abs(balances @ made.values).max() < 1e-8
        assert made.values.min() >= 0


def test_portions_of_one_ticket_are_those_of_the_closed_form():
    guesses = [Est(value=7000, sd=350), Est(value=7000, sd=350), Est(value=6000, sd=30)]
    split = split_ticket(Est(value=19_840, sd=40), guesses)
    made = portion_out([[1, -1, -1, -1]], np.eye(4), [19_840, *(g.value for g in guesses)], [40, *(g.sd for g in guesses)])
    assert made.values[1:] == pytest.approx([p.value for p in split.parts], rel=1e-6)
    assert made.sds[1:] == pytest.approx([p.sd for p in split.parts], rel=1e-4)
    low, high = portion_interval(
        [[1, -1, -1, -1]], np.eye(4), [19_840, *(g.value for g in guesses)], [40, *(g.sd for g in guesses)], [0, 1, 0, 0]
    )
    assert (low, high) == pytest.approx((made.values[1] - 1.95996 * made.sds[1], made.values[1] + 1.95996 * made.sds[1]), rel=1e-5)


def test_a_flow_that_nothing_tells_is_as_wide_as_the_balances_leave_it():
    made = portion_out([[1, -1, -1]], [[1, 0, 0]], [10.0], [0.1])
    assert np.isinf(made.sds[1]) and made.values[1] == pytest.approx(5.0, abs=1e-3)
    low, high = portion_interval([[1, -1, -1]], [[1, 0, 0]], [10.0], [0.1], [0, 1, 0])
    assert low == 0 and high == pytest.approx(10.0 + 1.96 * 0.1, rel=1e-3)


def test_an_interval_by_the_misfit_is_where_the_misfit_says():
    problem = ([[1, -1, -1]], [[1, 0, 0], [0, 1, 0]], [10.0, 9.9], [0.2, 0.4])
    low, high = portion_interval(*problem, [0, 0, 1])
    assert low == 0.0
    held = portion_out(np.vstack([problem[0]]), [*problem[1], [0, 0, 1]], [*problem[2], high], [*problem[3], 1e-5])
    assert held.chi2 == pytest.approx(portion_out(*problem).chi2 + 3.8414588, rel=1e-2)


@pytest.mark.parametrize(("seen", "sds"), [([1.0], [0.0]), ([np.nan], [1.0]), ([1.0, 2.0], [1.0, 1.0])])
def test_portions_refuse_what_is_no_problem(seen, sds):
    with pytest.raises(InputError):
        portion_out([[1, -1]], [[1, 0]], seen, sds)


# the account ------------------------------------------------------------------------------------------------------------
def test_a_ticket_is_split_among_fills_and_outfits_and_the_rest_is_known_with_its_band():
    loads = (load("t1"), load("left", "left-over", 7_900.0, 80.0, at="2027-05-09"))
    fills = (fill("08", 4_500, load="t1"), fill("10", 4_000, load="t1", outfit="B", bin="C", job="pole"), fill("12", 4_100, load="t1"))
    made = load_balance("wheat", loads, fills)
    (ticket,) = made.tickets
    assert ticket.held.value_kg == pytest.approx(20_000, abs=60)
    parts = {p.record: p.span for p in ticket.parts}
    assert sum(parts[k].value_kg for k in ("08", "10", "12")) == pytest.approx(20_000 - 7_900, abs=60)  # what is left over pulls them down
    assert all(s.low_kg < s.value_kg < s.high_kg for s in parts.values())
    fields = {(f.job, f.outfit): f for f in made.fields}
    assert fields["pole", "B"].filled.value_kg == pytest.approx(parts["10"].value_kg)
    assert fields["home", "A"].filled.value_kg == pytest.approx(parts["08"].value_kg + parts["12"].value_kg)
    assert dict(made.stock)[""].value_kg == pytest.approx(7_900, abs=90)
    assert made.dof == 1


def test_without_a_left_over_the_stock_is_what_did_not_go_in():
    made = load_balance("wheat", (load("t1"),), (fill("08", 4_500, 45.0),))
    (_, span), *_ = made.stock
    assert span.value_kg == pytest.approx(15_500)
    assert span.high_kg - span.low_kg == pytest.approx(2 * 1.96 * np.hypot(40, 45), rel=1e-3)
    assert made.dof == 0 and np.isnan(made.p)


def test_an_older_left_over_says_nothing_about_now_and_zero_is_a_statement():
    early = load("left", "left-over", 9_000.0, 50.0, at="2027-05-01T00:00")
    made = load_balance("wheat", (load("t1"), early), (fill("08", 4_500),))
    assert dict(made.stock)[""].value_kg == pytest.approx(15_500)
    empty = load("left", "left-over", 0.0, 0.0, at="2027-05-09")
    assert load_balance("wheat", (load("t1", mass=4_480.0), empty), (fill("08", 4_500),)).dof >= 1


def test_what_a_bin_takes_on_to_the_next_field_is_told_by_the_look_before_its_first_hectare():
    loads = (load("t1", mass=9_000.0),)
    fills = (
        fill("08", 5_000, 20.0, job="home"),
        fill("12", 3_000, 20.0, job="pole", area_ha=0.0, level_before_kg=1_200.0, level_before_sd_kg=60.0),
    )
    made = load_balance("wheat", loads, fills)
    home, pole = ({f.job: f for f in made.fields}[j] for j in ("home", "pole"))
    assert home.sown.value_kg == pytest.approx(3_800, abs=5) and home.carried_on.value_kg == pytest.approx(1_200, abs=5)
    assert pole.brought.value_kg == pytest.approx(1_200, abs=5)
    assert home.sown.high_kg - home.sown.low_kg == pytest.approx(2 * 1.96 * np.hypot(60, 20), rel=0.02)


def test_a_fill_without_a_lot_may_have_come_from_any_and_a_share_by_eye_is_a_reading():
    loads = (
        load("a", lot="one", mass=6_000.0), load("b", lot="two", mass=9_000.0),
        load("la", "left-over", 4_000.0, 20.0, lot="one", at="2027-05-09"), load("lb", "left-over", 6_000.0, 20.0, lot="two", at="2027-05-09"),
        load("box", "truck", None, None, lot="two", part_of="b", share=0.4),
    )  # fmt: skip
    made = load_balance("wheat", loads, (fill("08", 5_000),))
    box = next(t for t in made.tickets if t.load == "box")
    assert box.held.value_kg == pytest.approx(3_600, abs=50)
    assert made.fields[0].filled.value_kg == pytest.approx(5_000, abs=100)
    assert load_balance("barley", loads, ()) is None


def test_the_dose_of_a_bin_is_off_alike_on_all_its_fields():
    loads, fills = (load("t1", mass=40_000.0),), (fill("08", 20_000, 20.0, job="home"), fill("12", 20_000, 20.0, job="pole"))
    looks = (InBin(outfit="A", bin="D", mass_kg=Est(value=0.0, sd=20.0)),)
    light = [Sown(outfit="A", bin="D", job=j, mass_kg=Est(value=19_000.0, sd=100.0), shared_sd=0.05) for j in ("home", "pole")]
    assert load_balance("wheat", loads, fills, sown=light, in_bins=looks).p > 0.2  # 5 % light on both: one dose, not two chances
    apart = [replace(light[0], shared_sd=0.01), replace(light[1], mass_kg=Est(value=21_000.0, sd=100.0), shared_sd=0.01)]
    assert load_balance("wheat", loads, fills, sown=apart, in_bins=looks).p > 0.2  # the first may have left some to the second
    assert load_balance("wheat", loads, fills, sown=apart[::-1], in_bins=looks).p > 0.2
    first = [replace(apart[0], mass_kg=apart[1].mass_kg), replace(apart[1], mass_kg=apart[0].mass_kg)]
    assert load_balance("wheat", loads, fills, sown=first, in_bins=looks).p < 1e-6  # but nothing comes out that has not gone in yet
    heavy = [replace(s, mass_kg=Est(value=23_000.0, sd=100.0), shared_sd=0.01) for s in light]
    assert load_balance("wheat", loads, fills, sown=heavy, in_bins=looks).p < 1e-6


# orders -----------------------------------------------------------------------------------------------------------------
def test_what_is_owed_counts_only_what_names_the_order():
    orders = (
        Order(key="o1", product="urea", quantity_kg=40_000.0, price_kg=0.6),
        Order(key="o2", product="urea", quantity_kg=10_000.0),
        Order(key="o3", product="urea", quantity_kg=10_000.0, closed_at="2027-05-01"),
    )
    loads = (
        load("a", order="o1", mass=15_000.0, sd=30.0), load("b", order="o1", mass=10_000.0, sd=40.0), load("c"),
        load("d", order="o2", mass=None, sd=None), load("e", "truck", 5_000.0, 5.0, order="o1"),
    )  # fmt: skip
    first, second, third = owed(orders, loads)
    assert (first.delivered_kg, first.owed_kg, first.delivered_sd_kg) == (25_000.0, 15_000.0, 50.0)
    assert first.worth == pytest.approx(9_000)
    assert second.owed_kg is None and second.unweighed == ("d",)
    assert third.owed_kg == 0.0 and third.closed
    over = owed(orders[1:2], (load("x", order="o2", mass=12_000.0),))[0]
    assert (over.owed_kg, over.over_kg) == (0.0, 2_000.0)


def test_a_shortfall_says_how_likely_it_is_and_what_makes_it_one_in_twenty():
    found = shortfall(Est(value=100.0, sd=3.0), Est(value=100.0, sd=4.0))
    assert found.chance == pytest.approx(0.5)
    again = shortfall(Est(value=100.0 + found.order_kg, sd=3.0), Est(value=100.0, sd=4.0))
    assert again.chance == pytest.approx(0.05, abs=1e-4) and again.order_kg == pytest.approx(0.0, abs=1e-6)


# what is wrong on paper -------------------------------------------------------------------------------------------------
def paper(**more):
    """Three tickets of two lots, nine fills, all of it weighed at the end."""
    loads = (
        load("t1", lot="one", mass=15_000.0, sd=30.0), load("t2", lot="one", mass=12_000.0, sd=30.0), load("t3", lot="two", mass=14_000.0, sd=30.0),
        load("l1", "left-over", 2_300.0, 25.0, lot="one", at="2027-05-09"), load("l2", "left-over", 1_200.0, 25.0, lot="two", at="2027-05-09"),
    )  # fmt: skip
    masses = [4_900.0, 4_150.0, 4_600.0, 4_720.0, 3_310.0, 3_020.0, 4_480.0, 4_130.0, 4_190.0]
    fills = tuple(
        fill(f"{8 + n:02d}", m, 0.008 * m, lot="one" if n < 6 else "two", job="home" if n % 2 else "pole", how="tote")
        for n, m in enumerate(masses)
    )
    return loads, fills


def test_paper_without_a_slip_agrees():
    verdict = judge_loads("wheat", *paper())
    assert verdict.told and verdict.found == () and not verdict.unexplained


def test_a_missing_fill_is_told_with_its_size():
    loads, fills = paper()
    verdict = judge_loads("wheat", loads, fills[:3] + fills[4:])
    kinds = {f.kind for f in verdict.found[0]}
    assert "fill-missed" in kinds
    missed = next(f for f in verdict.found[0] if f.kind == "fill-missed")
    assert missed.size_kg == pytest.approx(4_720, abs=3 * missed.size_sd_kg)
    (finding, *_) = load_findings(verdict, load_balance("wheat", loads, fills[:3] + fills[4:]), NAMES, product="Wheat", profile="si")
    assert "is not entered" in finding.claim and finding.state == "doubtful" and finding.evidence  # or it lies elsewhere: both are said
    assert "neither in a bin nor where somebody looked" in finding.claim


def test_with_the_ground_sown_a_missing_fill_is_no_longer_taken_for_something_lying_about():
    loads, fills = paper()
    by_job = {j: sum(f.put_kg for f in fills if f.job == j) for j in ("home", "pole")}
    sown = [Sown(outfit="A", bin="D", job=j, mass_kg=Est(value=m, sd=0.01 * m), shared_sd=0.02) for j, m in by_job.items()]
    looks = [InBin(outfit="A", bin="D", mass_kg=Est(value=0.0, sd=40.0))]
    verdict = judge_loads("wheat", loads, fills[:3] + fills[4:], sown=sown, in_bins=looks)
    assert [f.kind for f in verdict.found[0]] == ["fill-missed"] * len(verdict.found[0])


def test_a_fill_entered_twice_is_found():
    loads, fills = paper()
    twice = (*fills, replace(fills[4], key="twin", at="2027-05-02T12:10"))
    verdict = judge_loads("wheat", loads, twice)
    assert {(f.kind, f.record) for f in verdict.found[0]} <= {("fill-doubled", "twin"), ("fill-doubled", "12")}
    (finding,) = load_findings(verdict, load_balance("wheat", loads, twice), NAMES, product="Wheat", profile="si")
    assert finding.state == "does-not-hold" and "entered twice" in finding.claim and "Lay the two entries" in finding.settle_by


def test_digits_that_changed_places_are_found_on_the_ticket_they_stand_on():
    loads, fills = paper()
    turned = tuple(replace(x, mass_kg=51_000.0) if x.key == "t1" else x for x in loads)
    verdict = judge_loads("wheat", turned, fills)
    best = verdict.found[0][0]
    assert (best.kind, best.record, best.should_be) == ("digits", "t1", "15000")
    assert best.size_kg % 9 == 0
    (finding, *_) = load_findings(verdict, load_balance("wheat", turned, fills), NAMES, product="Wheat", profile="si")
    assert "digits changed places in record t1" in finding.claim and "multiple of 9" in finding.claim


def test_a_wrong_lot_is_found_and_a_ticket_that_stands_twice_needs_no_account():
    loads, fills = paper()
    wrong = tuple(replace(f, lot="two") if f.key == "09" else f for f in fills)
    best = judge_loads("wheat", loads, wrong).found[0]
    assert ("wrong-lot", "09", "one") in {(f.kind, f.record, f.should_be) for f in best}
    again = judge_loads("wheat", (load("a", ticket="41"), load("b", ticket="41")), ())
    assert [(f[0].kind, f[0].record) for f in again.found] == [("fill-doubled", "b")]


def test_pounds_for_kilograms_is_told_by_its_ratio():
    loads, fills = paper()
    in_pounds = tuple(replace(x, mass_kg=15_000 * 2.20462) if x.key == "t1" else x for x in loads)
    found = judge_loads("wheat", in_pounds, fills).found[0]
    slip = next(f for f in found if f.kind == "unit-slip")
    assert float(slip.should_be) == pytest.approx(15_000, abs=1)


def test_what_no_single_slip_explains_is_said_so_and_nothing_to_check_is_said_so():
    loads, fills = paper()
    off = tuple(replace(x, mass_kg=x.mass_kg - 900.0) if x.key in ("t1", "t3") else x for x in loads)
    verdict = judge_loads("wheat", off, fills)
    claims = [f.claim for f in load_findings(verdict, load_balance("wheat", off, fills), NAMES, product="Wheat", profile="si")]
    assert claims and all("agree." not in c or "do not agree" in c or "does not agree" in c for c in claims)
    bare = judge_loads("wheat", (load("t1"),), ())
    (finding,) = load_findings(bare, load_balance("wheat", (load("t1"),), ()), NAMES, product="Wheat", profile="si")
    assert finding.state == "cannot-tell" and finding.settle_by


def test_swapped_masses_differ_by_multiples_of_nine():
    found = swapped_masses(4_107.0)
    assert 1_407.0 in found and 4_017.0 in found and all((m - 4_107) % 9 == 0 for m in found)
