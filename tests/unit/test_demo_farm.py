"""The demo farm is complete, consistent, in the usual ranges, and says that it is invented."""

from __future__ import annotations

import itertools
import math
import re
from dataclasses import replace
from functools import cache
from importlib.resources import files

import pytest
import shapely

from evenstand.desk.demo_farm import INVENTED, PRACTICE, demo_farm
from evenstand.field import plan_passes
from evenstand.simulate import simulate_day

FARM = demo_farm()


def test_two_outfits_five_fields_four_crops_eight_products() -> None:
    assert [o.key for o in FARM.outfits] == ["A", "B"]
    assert len(FARM.boundaries) == 5
    assert {j.crop for j in FARM.jobs} == {"wheat", "canola", "pea", "red lentil"}
    assert len(FARM.products) == 8


def test_outfit_a_has_64_runs_in_eight_heads_of_eight_and_double_shoot() -> None:
    a = FARM.outfit("A")
    assert len(a.runs) == a.rows == 64
    assert [h.outlets for h in a.heads] == [8] * 8
    assert a.width_m == pytest.approx(64 * 0.254)
    assert {s.placement for s in a.streams} == {"seed-row", "side-band"}
    assert a.sensor_streams == ("seed",)
    assert a.widths.guidance_m == 16.15


def test_outfit_b_has_39_runs_uneven_heads_ground_drive_and_no_sensors() -> None:
    b = FARM.outfit("B")
    assert len(b.runs) == b.rows == 39
    assert [h.outlets for h in b.heads] == [7, 6, 7, 6, 7, 6]
    assert b.drive == "ground"
    assert b.width_m == pytest.approx(11.895)
    assert all(r.sensor is None for r in b.runs)
    assert b.sections == ()


@pytest.mark.parametrize("outfit", FARM.outfits, ids=lambda o: o.key)
def test_a_run_map_is_whole(outfit) -> None:
    assert [r.number for r in outfit.runs] == list(range(1, outfit.rows + 1))
    by_head = {h.letter: [r.outlet for r in outfit.runs if r.head == h.letter] for h in outfit.heads}
    assert all(by_head[h.letter] == list(range(1, h.outlets + 1)) for h in outfit.heads)
    offsets = [r.offset_m for r in outfit.runs]
    assert sum(offsets) == pytest.approx(0, abs=1e-9)
    assert all(b - a == pytest.approx(outfit.row_spacing_m) for a, b in itertools.pairwise(offsets))
    assert all(2.0 <= r.hose_m <= 6.0 for r in outfit.runs)
    sensors = [r.sensor for r in outfit.runs if r.sensor is not None]
    assert len(sensors) == len(set(sensors))


def test_opener_37_is_head_e_outlet_5_and_its_sensor_has_another_number() -> None:
    run = FARM.outfit("A").runs[36]
    assert (run.number, run.head, run.outlet, run.sensor) == (37, "E", 5, 55)


def test_sections_cover_the_tool_without_gap() -> None:
    sections = FARM.outfit("A").sections
    assert sections[0].left_m == pytest.approx(-8.128)
    assert sections[-1].right_m == pytest.approx(8.128)
    assert all(a.right_m == b.left_m for a, b in itertools.pairwise(sections))


@pytest.mark.parametrize("boundary", FARM.boundaries, ids=lambda b: b.key)
def test_a_field_is_sound_and_its_areas_agree(boundary) -> None:
    assert len(boundary.polygons) == 1
    (polygon,) = boundary.polygons
    shape = shapely.Polygon(polygon.outside, polygon.holes)
    assert shape.is_valid
    assert polygon.outside[0] == polygon.outside[-1]
    assert shapely.is_ccw(shapely.LinearRing(polygon.outside))
    blocked = sum(shapely.Polygon(o.outside).area for o in boundary.obstacles)
    assert boundary.area_m2 == pytest.approx(shape.area - blocked)
    assert boundary.geodesic_m2 == pytest.approx(boundary.area_m2, rel=1e-6)
    assert boundary.entries
    assert boundary.fill_points
    assert boundary.hazards
    assert all(shape.buffer(20).contains(shapely.Point(p)) for p in (*boundary.entries, *boundary.fill_points))


def test_fields_have_holes_an_odd_outline_and_an_obstacle() -> None:
    assert sum(len(b.polygons[0].holes) for b in FARM.boundaries) >= 5
    assert len(FARM.boundary("dogleg").polygons[0].outside) > 7
    assert len(FARM.boundary("pole").obstacles) == 1
    assert 60 < FARM.boundary("home").area_ha < 64


@pytest.mark.parametrize("job", FARM.jobs, ids=lambda j: j.key)
def test_a_job_names_only_what_exists_and_its_bins_carry_their_product(job) -> None:
    outfit, field = FARM.outfit(job.outfit), FARM.boundary(job.field_key)
    assert job.area_ha == pytest.approx(field.area_ha, abs=0.05)
    lots = {lot.key: lot for lot in FARM.lots}
    for ask in job.asks:
        assert FARM.product(ask.product)
        assert lots[ask.lot].product == ask.product
        assert [outfit.bin(letter) for letter in ask.bins]
        caught = [f for f in FARM.factors if f.outfit == outfit.key and f.product == ask.product and f.bin in ask.bins]
        assert caught, f"no factor for {ask.product} on outfit {outfit.key}"


@pytest.mark.parametrize("job", FARM.jobs, ids=lambda j: j.key)
def test_the_seed_rate_follows_from_stand_survival_and_kernel(job) -> None:
    lots = {lot.key: lot for lot in FARM.lots}
    seed = next(a for a in job.asks if FARM.product(a.product).kind == "seed")
    tkw = lots[seed.lot].tkw_g.value
    assert job.target_plants_m2 * tkw / job.survival / 100 == pytest.approx(seed.rate_kg_ha, rel=0.015)


def test_a_factor_is_a_believable_filling_of_its_roller() -> None:
    density = {lot.key: lot.density_kg_m3 for lot in FARM.lots}
    for factor in FARM.factors:
        litres = {"coarse": 1.6, "medium": 0.8, "fine": 0.20} if factor.outfit == "A" else {"coarse": 1.0, "medium": 0.5, "fine": 0.12}
        bulk = density[factor.lot] or FARM.product(factor.product).density_kg_m3
        filling = factor.kg_turn.value / (litres[factor.setting] * bulk.value / 1000)
        assert 0.90 <= filling <= 1.02, factor


def test_the_treated_lot_gives_four_per_cent_less_a_turn() -> None:
    by_lot = {f.lot: f.kg_turn.value for f in FARM.factors if f.outfit == "A" and f.product == "wheat"}
    assert by_lot["wheat-1t"] / by_lot["wheat-1"] == pytest.approx(0.96)
    assert next(lot for lot in FARM.lots if lot.key == "wheat-1t").treatment


def test_one_ticket_stands_over_three_fills_that_add_up_to_it() -> None:
    ticket = next(load for load in FARM.loads if load.key == "ticket-4107")
    parts = [load for load in FARM.loads if load.part_of == ticket.key]
    fills = [f for f in FARM.fills if f.load == ticket.key]
    assert len(parts) == len(fills) == 3
    assert all(p.mass_kg is None for p in parts)
    assert sum(f.put_kg for f in fills) == pytest.approx(ticket.mass_kg)
    assert [f.area_ha for f in fills] == sorted(f.area_ha for f in fills)


def test_the_paper_outfit_has_its_three_hand_readings() -> None:
    readings = FARM.hand_readings["eighty-wheat"]
    assert [r.quantity for r in readings] == ["area_counter", "put:C", "level:C"]
    assert [r.nature for r in readings] == ["echo", "witness", "witness"]


def test_every_number_has_a_basis_and_prices_are_invented() -> None:
    assert set(FARM.basis.values()) == {PRACTICE, INVENTED}
    assert FARM.basis["prices"] == INVENTED
    assert set(FARM.prices) == {p.key for p in FARM.products}
    assert all(math.isfinite(p) and p > 0 for p in FARM.prices.values())
    ests = [f.kg_turn for f in FARM.factors] + [p.density_kg_m3 for p in FARM.products] + [lot.tkw_g for lot in FARM.lots if lot.tkw_g]
    assert {e.basis for e in ests} <= {PRACTICE, INVENTED}


def test_it_says_that_it_is_invented() -> None:
    assert "invented" in FARM.name
    assert "no real farm" in FARM.note
    assert all("(invented)" in b.name for b in FARM.boundaries)
    assert all("(invented)" in o.name for o in FARM.outfits)
    for name in ("outfits", "products", "season", "fields"):
        head = files("evenstand.desk").joinpath("demo_data", f"{name}.toml").read_text(encoding="utf-8")[:400]
        assert re.search("invented", head), name


def test_each_outfit_has_its_owners_unit_profile() -> None:
    assert dict(FARM.profiles) == {"A": "si", "B": "prairie"}


@pytest.mark.parametrize("world", ["still", "nominal", "rough"])
@pytest.mark.parametrize("job", FARM.jobs, ids=lambda j: j.key)
def test_every_job_can_be_planned_and_its_day_simulated(job, world: str) -> None:
    field = FARM.boundary(job.field_key)
    day = simulate_day(FARM.outfit(job.outfit), _planned(job.key), field, seed=4, world=world)
    truth = day.truth
    assert truth.field_ha == pytest.approx(field.area_ha)
    assert truth.covered_ha == pytest.approx(field.area_ha, rel=0.012)
    assert -0.005 < truth.overlap < 0.08
    for letter, put in truth.put_kg.items():
        assert put == pytest.approx(truth.sown_kg[letter] + truth.left_kg[letter])
        assert truth.left_kg[letter] > 0
        assert truth.dose_ratio[letter] == pytest.approx(1.0, abs=1e-3 if world == "still" else 0.06)


@cache
def _planned(job_key: str):
    from evenstand.desk.days import demo_plan

    job = FARM.job(job_key)
    outfit = FARM.outfit(job.outfit)
    line = plan_passes(FARM.boundary(job.field_key), outfit.width_m, turn_radius_m=outfit.turn_radius_m)
    return replace(demo_plan(FARM, job_key), drive=line)
