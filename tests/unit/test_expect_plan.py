"""A plan fills nothing in silently: no speed, no hours; a choice of bins says what it rests on."""

from __future__ import annotations

import dataclasses

from evenstand.base.estimate import Est
from evenstand.desk.demo_farm import demo_farm
from evenstand.desk.planning import Said, quick_plan
from evenstand.expect import PlanInputs, plan_for
from evenstand.model import Ask, Bin, Job, Outfit, Product, Stream, Widths


def inputs(**changes) -> PlanInputs:
    farm = demo_farm()
    job = farm.job("home-wheat")
    given = {
        "job": job, "outfit": farm.outfit("A"), "products": {p.key: p for p in farm.products}, "factors": farm.factors,
        "boundary": farm.boundary("home"),
    }  # fmt: skip
    return PlanInputs(**{**given, **changes})


def test_with_a_speed_stops_have_hours_and_without_one_they_have_none():
    known = plan_for(inputs())
    still = dataclasses.replace(demo_farm().outfit("A"), speed_m_s=None)
    unknown = plan_for(inputs(outfit=still))
    assert known.stops
    assert all(s.at_h is not None and s.at_h > 0 for s in known.stops)
    assert unknown.stops
    assert all(s.at_h is None for s in unknown.stops)
    assert [s.after_pass for s in known.stops] == [s.after_pass for s in unknown.stops]


def test_seed_goes_only_where_a_stream_ends_in_the_seed_row_and_fertilizer_to_the_band():
    outfit = Outfit(
        key="o", name="o", widths=Widths(rate_m=12.0), streams=(Stream(key="s", placement="seed-row"), Stream(key="b", placement="side-band")),
        bins=(Bin(letter="A", stream="b", capacity_m3=Est(value=4)), Bin(letter="B", stream="s", capacity_m3=Est(value=4))),
    )  # fmt: skip
    products = {"seed": Product(key="seed", name="seed", kind="seed"), "urea": Product(key="urea", name="urea", kind="fertilizer")}
    job = Job(key="j", crop="wheat", season=2027, asks=(Ask(product="seed", rate_kg_ha=100), Ask(product="urea", rate_kg_ha=100)))
    plan = plan_for(PlanInputs(job=job, outfit=outfit, products=products))
    assert {b.bin: b.product for b in plan.bins} == {"A": "urea", "B": "seed"}
    assert "volumes compared as if 1 kg/L" in plan.proof["bins"]


def test_two_bins_of_one_product_share_its_rate_by_what_they_hold():
    outfit = Outfit(key="o", name="o", bins=(Bin(letter="A", capacity_m3=Est(value=6)), Bin(letter="B", capacity_m3=Est(value=3))))
    job = Job(key="j", crop="wheat", season=2027, asks=(Ask(product="seed", rate_kg_ha=120, bins=("A", "B")),))
    plan = plan_for(PlanInputs(job=job, outfit=outfit, products={"seed": Product(key="seed", name="seed", kind="seed")}))
    assert [b.rate_kg_ha for b in plan.bins] == [80.0, 40.0]


def test_the_drive_of_an_outfit_is_not_known_until_it_is_said():
    assert Outfit(key="o", name="o").drive == "unknown"
    assert quick_plan(Said(words=("62 ha wheat 120 kg/ha",))).area_ha == 62
