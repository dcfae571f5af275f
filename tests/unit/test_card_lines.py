"""The value card's lines: each known one has unit, spread or range, source; what is not known says what it needs."""

from __future__ import annotations

import dataclasses
import math

import pytest

from evenstand.base.errors import RangeError
from evenstand.base.estimate import Est
from evenstand.desk.demo_farm import demo_farm
from evenstand.desk.planning import Said, quick_plan
from evenstand.expect import PlanInputs, plan_for
from evenstand.expect.bins import factor_of
from evenstand.expect.lines import GROUPS
from evenstand.model import (
    Ask,
    Bin,
    CardLine,
    Costs,
    FanProof,
    FlagTest,
    Head,
    Job,
    Lot,
    Meter,
    MeterFactor,
    Outfit,
    Plan,
    Product,
    PulseTest,
    Stream,
    Weather,
    Widths,
)

FARM = demo_farm()


def demo(of: str = "home-wheat", /, *, now: str = "2027-05-09T12:00:00.000Z", **changes) -> Plan:
    wanted = FARM.job(of)
    factors = tuple(f for f in FARM.factors if f.outfit == wanted.outfit)
    lots = {a.product: next(x for x in FARM.lots if x.key == a.lot) for a in wanted.asks if a.lot}
    given = {
        "job": wanted, "outfit": FARM.outfit(wanted.outfit), "products": {p.key: p for p in FARM.products}, "lots": lots, "factors": factors,
        "boundary": FARM.boundary(wanted.field_key), "now": now, "drive": False,
    }  # fmt: skip
    return plan_for(PlanInputs(**{**given, **changes}))


def line(plan: Plan, key: str) -> CardLine:
    return next(x for x in plan.card if x.key == key)


@pytest.mark.parametrize("job", [j.key for j in FARM.jobs])
def test_every_known_line_has_a_unit_a_spread_or_range_and_a_source(job):
    for c in demo(job).card:
        assert c.group in dict(GROUPS)
        if c.state == "needs":
            assert c.needs and c.how and c.value is None
        elif c.text and c.value is None:
            assert c.source
        else:
            assert c.value is not None and math.isfinite(c.value)
            assert c.sd is not None or (c.low is not None and c.high is not None)
            assert c.source and c.basis
            assert c.low is None or c.high is None or c.low < c.high
            assert c.working is None or c.working.result == pytest.approx(c.value, rel=1e-6, abs=1e-12)
    assert len({c.key for c in demo(job).card}) == len(demo(job).card)


@pytest.mark.parametrize("words", ["62 ha", "wheat", "62 ha wheat 120 kg/ha", "120 kg/ha 16.3 m 7.5 km/h", ""])
def test_as_little_as_that_is_a_legal_job(words):
    plan = quick_plan(Said(words=(words,) if words else ()))
    assert len(plan.card) >= 15
    assert all(c.needs for c in plan.card if c.state == "needs")


def test_leaving_out_any_one_thing_crashes_nothing():
    outfit = FARM.outfit("A")
    for field in dataclasses.fields(Outfit):
        if field.default is not dataclasses.MISSING or field.default_factory is not dataclasses.MISSING:
            bare = field.default if field.default is not dataclasses.MISSING else field.default_factory()
            assert demo(outfit=dataclasses.replace(outfit, **{field.name: bare})).card, field.name
    job = FARM.job("home-wheat")
    for field in dataclasses.fields(Job):
        if field.name != "asks" and (field.default is not dataclasses.MISSING or field.default_factory is not dataclasses.MISSING):
            bare = field.default if field.default is not dataclasses.MISSING else field.default_factory()
            assert demo(job=dataclasses.replace(job, **{field.name: bare})).card, field.name
    assert demo(products={}, lots={}, factors=()).card
    assert demo(outfit=None).card


def test_a_factor_of_another_setting_or_from_before_treating_is_said_to_be_stale():
    bin_ = Bin(letter="A", meter=Meter(setting="coarse"))
    seed = Product(key="wheat", name="Wheat", kind="seed")
    lot = Lot(key="l", product="wheat", treatment="yes", treated_at="2027-05-02")
    before = MeterFactor(
        outfit="o", bin="A", product="wheat", lot="l", setting="coarse", kg_turn=Est(value=1.25, sd=0.01), at="2027-05-01", how="catch"
    )
    after = dataclasses.replace(before, at="2027-05-03", kg_turn=Est(value=1.2, sd=0.01))
    other = dataclasses.replace(after, setting="medium")
    assert factor_of(bin_, seed, lot, (before, after)).kg_turn.value == pytest.approx(1.2)
    assert not factor_of(bin_, seed, lot, (before, after)).stale_now
    assert "treating" in factor_of(bin_, seed, lot, (before,)).stale_now
    assert "setting medium" in factor_of(bin_, seed, lot, (other,)).stale_now
    assert factor_of(bin_, seed, lot, ()).kg_turn is None


def test_every_source_of_the_product_per_turn_is_told_best_first_and_stale_ones_named():
    told = line(demo(), "factor:D").more
    assert told[0].startswith("Used: catch of 2027-05-04, lot wheat-1t, 1.200 kg/turn")
    assert any(t.startswith("Stale: catch of 2027-05-01, lot wheat-1,") for t in told)


def test_a_standing_catch_is_judged_without_the_bias_that_all_standing_catches_share():
    own = MeterFactor(outfit="o", bin="A", product="wheat", kg_turn=Est(value=1.25, sd=0.01), at="2027-05-03", how="catch")
    found = factor_of(Bin(letter="A"), Product(key="wheat", name="Wheat", kind="seed"), None, (own,))
    assert found.standing.sd == pytest.approx(math.hypot(0.01, 0.02 * 1.25), rel=1e-6)  # its own, and what changes within a day
    assert found.kg_turn.sd > 1.3 * found.standing.sd


def test_passes_lie_at_the_guidance_width_and_the_overlap_is_said():
    plan = demo(drive=True)
    assert plan.drive.width_m == 16.15
    assert plan.width_m == 16.256
    assert "106 mm of every pass" in plan.drive.notes[0]
    taped = dataclasses.replace(FARM.outfit("A"), widths=Widths(true_m=Est(value=16.0), guidance_m=16.15))
    assert "stays unsown between passes" in demo(drive=True, outfit=taped).drive.notes[0]
    none = dataclasses.replace(FARM.outfit("A"), widths=Widths(true_m=Est(value=16.0)))
    assert demo(drive=True, outfit=none).drive.width_m == 16.0


def test_three_widths_say_what_each_difference_does():
    wrong = dataclasses.replace(FARM.outfit("A"), widths=Widths(true_m=Est(value=16.256, sd=0.01), rate_m=16.0, guidance_m=16.15))
    plan = demo(outfit=wrong)
    assert line(plan, "width-dose").value == pytest.approx(16.0 / 16.256)
    assert line(plan, "width-joint").value == pytest.approx(0.106)
    assert line(plan, "width-counter").value == pytest.approx(16.0 / 16.15, rel=1e-3)


def test_two_bins_on_one_product_together_and_in_turn():
    outfit = Outfit(
        key="o", name="o", widths=Widths(rate_m=12.0), speed_m_s=2.0, bins=tuple(
            Bin(letter=b, capacity_m3=Est(value=v), meter=Meter(steady_low_turns_s=0.07, steady_high_turns_s=1.0)) for b, v in (("A", 6), ("B", 3))
        ),
    )  # fmt: skip
    seed = Product(key="seed", name="seed", kind="seed", density_kg_m3=Est(value=780, sd=5))
    factors = tuple(
        MeterFactor(outfit="o", bin=b, product="seed", kg_turn=Est(value=1.2, sd=0.01), how="catch", at="2027-05-01") for b in "AB"
    )

    def planned(in_turn: bool) -> Plan:
        job = Job(
            key="j", crop="wheat", season=2027, area_ha=60, asks=(Ask(product="seed", rate_kg_ha=120, bins=("A", "B"), in_turn=in_turn),)
        )
        return plan_for(PlanInputs(job=job, outfit=outfit, products={"seed": seed}, factors=factors))

    both, turn = planned(False), planned(True)
    assert [b.rate_kg_ha for b in both.bins] == [80, 40]
    assert [b.rate_kg_ha for b in turn.bins] == [120, 120]
    full = {b.bin: b.full_kg.value for b in turn.bins}
    assert line(both, "shared:seed").value == pytest.approx((full["A"] + full["B"]) / 120)  # shares by volume: empty at once
    assert line(turn, "shared:seed").value == pytest.approx(full["A"] / 120)
    assert line(both, "shared-rates:seed").high > line(turn, "shared-rates:seed").high  # together: a higher ceiling


def test_the_fan_follows_load_and_air_and_without_a_proven_speed_there_is_no_number():
    thick = demo()
    assert line(thick, "fan").value != pytest.approx(line(thick, "fan-proven").value)
    assert line(thick, "fan-low").value == pytest.approx(line(thick, "fan").value * 0.94)
    assert line(thick, "fan-high").value == pytest.approx(line(thick, "fan").value * 1.08)
    none = demo(outfit=dataclasses.replace(FARM.outfit("A"), fan_turns_s=None))
    assert line(none, "fan").state == "needs"
    assert "puff test" in line(none, "fan").why
    assert "every opener" in line(none, "puff").text


def test_flags_give_switch_distances_at_the_working_speed():
    outfit = dataclasses.replace(
        FARM.outfit("A"), flag=FlagTest(on_m=Est(value=8.0, sd=0.5), off_m=Est(value=12.0, sd=0.5), speed_m_s=2.0), speed_m_s=2.5
    )
    plan = demo(outfit=outfit)
    assert line(plan, "switch-on").value == pytest.approx(10.0)  # 4 s at 2.5 m/s
    assert line(plan, "switch-off").value == pytest.approx(15.0)
    assert line(demo(outfit=dataclasses.replace(outfit, flag=FlagTest())), "switch-on").needs == ("a flag test",)


def test_a_stand_in_speed_left_on_gives_typed_over_true():
    outfit = dataclasses.replace(FARM.outfit("A"), stand_in_m_s=5 / 3.6, speed_m_s=6 / 3.6)
    assert line(demo(outfit=outfit), "stand-in-on").value == pytest.approx(5 / 6)


def test_distance_per_pulse_is_told_for_each_load():
    plan = demo()
    assert [line(plan, f"pulse:{i}").value for i in (1, 2, 3)] == [0.1912, 0.1925, 0.1949]
    bare = dataclasses.replace(FARM.outfit("A"), pulses=(PulseTest(load="full", soil="", pulse_m=Est(value=0.19)),))
    assert line(demo(outfit=bare), "pulse:1").label == "Distance per pulse, full"


def test_an_unbalanced_head_is_named():
    assert "Head E" in line(demo(), "balance:seed").why
    even = Outfit(
        key="o",
        name="o",
        heads=(Head(letter="A", outlets=7), Head(letter="B", outlets=6)),
        widths=Widths(rate_m=4.0),
        speed_m_s=2.0,
        bins=(Bin(letter="A"),),
    )
    job = Job(key="j", crop="wheat", season=2027, asks=(Ask(product="seed", rate_kg_ha=100),))
    found = plan_for(PlanInputs(job=job, outfit=even))
    assert line(found, "balance:all").value == pytest.approx(7 / 6 - 1)  # equal segments, unequal heads


def test_the_label_clock_runs_from_treating_and_the_urea_bin_is_to_be_emptied():
    plan = demo()
    assert line(plan, "clock:wheat").text == "2027-05-12"
    assert line(plan, "clock:wheat").value == pytest.approx(60.0)  # treated on 2 May, ten days; it is noon of the ninth
    assert line(plan, "humid:urea").stale_now
    late = demo(now="2027-05-13T06:00:00Z")
    assert "Past the label's hours" in line(late, "clock:wheat").stale_now
    dry = dataclasses.replace(FARM.job("home-wheat"), weather=Weather(relative_humidity=0.4))
    assert not line(demo(job=dry), "humid:urea").stale_now
    unlabelled = {"wheat": Lot(key="x", product="wheat", treatment="yes")}
    assert set(line(demo(lots=unlabelled), "clock:wheat").needs) == {
        "the hours its label gives from treating to sowing",
        "when it was treated",
    }


def test_the_date_asks_for_hectares_a_workable_day():
    plan = demo()
    assert line(plan, "deadline").value == pytest.approx(62.1 / (7 * 0.7), rel=1e-3)
    started = dataclasses.replace(FARM.job("home-wheat"), workable=None)
    assert line(demo(job=started), "deadline").needs == ("the share of days on which work is possible",)
    assert line(demo(now="2027-06-20"), "deadline").text == "the date has passed"


def test_costs_are_typed_or_asked_for():
    plan = demo()
    assert line(plan, "fuel").value == pytest.approx(62.1 * 5.8)
    assert line(plan, "cost-products").value == pytest.approx(121 * 0.55 + 150 * 0.85 + 75 * 1.05)
    bare = demo(
        outfit=dataclasses.replace(FARM.outfit("A"), costs=Costs()), products={"wheat": Product(key="wheat", name="Wheat", kind="seed")}
    )
    assert line(bare, "cost").state == "needs"


def test_fertilizer_with_canola_is_over_the_guideline_and_the_card_says_so():
    plan = demo("sloughs-canola")
    assert line(plan, "row:N").value == 0
    assert "OVER the limit" in line(plan, "row:N").why
    assert next(x for x in plan.row_limits if x.nutrient == "N" and x.placement == "seed-row").ok is False


def test_small_seed_comes_in_pulses():
    pulses = line(demo("sloughs-canola"), "pulses:B")
    assert pulses.value == pytest.approx(0.68, abs=0.02)  # 24 pockets, 7.8 rpm, 7.6 km/h
    assert "seeds to a row" in pulses.why
    no_flutes = dataclasses.replace(
        FARM.outfit("A"), bins=tuple(dataclasses.replace(b, meter=dataclasses.replace(b.meter, flutes=None)) for b in FARM.outfit("A").bins)
    )
    assert line(demo("sloughs-canola", outfit=no_flutes), "pulses:B").needs == ("pockets around the roller",)


def test_second_rate_and_step_are_told_in_the_rate_and_its_share():
    plan = demo()
    assert line(plan, "bin-rate-2:A").value == 165
    assert "+10% on the main rate" in line(plan, "bin-rate-2:A").why
    assert line(plan, "step:A").value == 5
    assert "3.3% of the rate" in line(plan, "step:A").why


def test_the_moment_is_no_part_of_the_hash_and_a_rate_below_nought_is_refused():
    assert demo(now="2027-05-09").input_hash == demo(now="2027-05-10").input_hash
    with pytest.raises(RangeError, match="rate of wheat"):
        demo(job=Job(key="j", crop="wheat", season=2027, asks=(Ask(product="wheat", rate_kg_ha=-1),)))
    assert FanProof().crop == "" and Stream(key="s").placement is None
