"""Blends worked out by hand, and what is refused."""

from __future__ import annotations

import re
from itertools import combinations
from pathlib import Path

import pytest

import evenstand
from evenstand.agronomy import BlendLimit, BlendProduct, FreeBin, blend, blend_supplies, conflict
from evenstand.base.errors import InfeasibleError, InputError, MissingError, RangeError

P = BlendProduct
UREA = P(key="urea", analysis={"N": 0.46}, price_kg=0.60)
MAP = P(key="map", analysis={"N": 0.11, "P2O5": 0.52}, price_kg=0.80)
SULPHATE = P(key="sulphate", analysis={"N": 0.21, "S": 0.24}, price_kg=0.40)
BOTH = ("seed-row", "side-band")
ROW_N = BlendLimit(key="row N", most_kg_ha=5.5, nutrients=("N",), placements=("seed-row",))


def test_two_products_by_hand():
    """30 P2O5 / 0.52 = 57.692 map, with 6.346 N; (80 - 6.346) / 0.46 = 160.117 urea; 96.07 + 46.15 money."""
    best = blend({"N": 80, "P2O5": 30}, [UREA, MAP], max_products=2)
    assert best.rates_kg_ha == pytest.approx({"map": 30 / 0.52, "urea": (80 - 0.11 * 30 / 0.52) / 0.46}, rel=1e-12)
    assert best.cost_ha == pytest.approx(0.8 * 57.6923 + 0.6 * 160.1171, abs=1e-3)
    assert best.supplied == pytest.approx({"N": 80, "P2O5": 30})
    prices = {b.key: b.price for b in best.binding}
    assert prices["N"] == pytest.approx(0.60 / 0.46)  # one kilogram more N is 1/0.46 kg urea
    assert prices["P2O5"] == pytest.approx(0.80 / 0.52 - 0.11 / 0.52 * 0.60 / 0.46)  # map brings N that urea need not
    (other,) = best.runners_up  # map alone: (80 / 0.11) x 0.8
    assert (other.cost_ha, other.more_ha) == (pytest.approx(80 / 0.11 * 0.8), pytest.approx(80 / 0.11 * 0.8 - best.cost_ha))
    assert best.proof.sets == 3 and best.proof.worked_out + best.proof.ruled_out == 3


def test_the_yard_is_used_first_and_only_what_is_bought_costs():
    best = blend({"N": 80}, [P(key="urea", analysis={"N": 0.46}, price_kg=0.60, stock_kg_ha=100)], max_products=1)
    assert best.stock_kg_ha == {"urea": pytest.approx(100)}
    assert best.bought_kg_ha == {"urea": pytest.approx(80 / 0.46 - 100)}
    assert best.cost_ha == pytest.approx(0.6 * (80 / 0.46 - 100))
    assert {b.key: b.price for b in best.binding}["urea, stock"] == pytest.approx(0.6)  # a kilogram more on the yard saves its price


def test_a_dear_product_on_the_yard_goes_before_a_cheap_one_that_must_be_bought():
    dear = P(key="dear", analysis={"N": 0.46}, price_kg=2.0, stock_kg_ha=60)
    best = blend({"N": 80}, [UREA, dear], max_products=2)
    assert best.rates_kg_ha == pytest.approx({"dear": 60, "urea": 80 / 0.46 - 60})
    # counted at what it would fetch, above the other's price, it stays on the yard
    kept = P(key="dear", analysis={"N": 0.46}, price_kg=2.0, stock_kg_ha=60, stock_price_kg=0.9)
    assert set(blend({"N": 80}, [UREA, kept], max_products=2).rates_kg_ha) == {"urea"}


def test_only_the_yard_and_no_price():
    """What cannot be bought needs no price, and ends where the heap ends."""
    heap = P(key="heap", analysis={"N": 0.46}, stock_kg_ha=50, available_kg_ha=50)
    best = blend({"N": 80}, [UREA, heap], max_products=2)
    assert best.rates_kg_ha == pytest.approx({"heap": 50, "urea": 80 / 0.46 - 50})
    with pytest.raises(InfeasibleError) as raised:
        blend({"N": 80}, [heap], max_products=1)
    assert {f.where for f in raised.value.faults} == {"N, least", "heap, what there is"}


def test_no_price_at_all_gives_the_least_mass():
    best = blend({"N": 80}, [P(key=p.key, analysis=p.analysis) for p in (UREA, SULPHATE)], max_products=2)
    assert (best.objective, best.cost_ha, set(best.rates_kg_ha)) == ("mass", None, {"urea"})
    assert best.mass_kg_ha == pytest.approx(80 / 0.46) == best.proof.bound
    assert best.runners_up[0].more_ha == pytest.approx(80 / 0.21 - 80 / 0.46)
    with pytest.raises(MissingError, match="no price of sulphate"):
        blend({"N": 80}, [UREA, P(key="sulphate", analysis={"N": 0.21})], max_products=1)


def test_a_seed_row_limit_moves_product_to_the_band():
    """26 P2O5 in the row are 50 kg of map with 5.5 N, all that is allowed there; the rest of 30 P2O5 goes beside it."""
    products = [P(key="map", analysis=MAP.analysis, price_kg=0.8, placements=BOTH), UREA]
    row_p = BlendLimit(key="row P2O5", least_kg_ha=26, nutrients=("P2O5",), placements=("seed-row",))
    best = blend({"N": 80, "P2O5": 30}, products, max_products=2, limits=[ROW_N, row_p])
    assert best.placed_kg_ha["map"] == {"seed-row": pytest.approx(50), "side-band": pytest.approx(30 / 0.52 - 50)}
    more = BlendLimit(key="row P2O5", least_kg_ha=27, nutrients=("P2O5",), placements=("seed-row",))
    with pytest.raises(InfeasibleError) as raised:
        blend({"N": 80, "P2O5": 30}, products, max_products=2, limits=[ROW_N, more])
    assert {f.where for f in raised.value.faults} == {"row N, most", "row P2O5, least"}


def test_without_a_reason_nothing_goes_into_the_seed_row():
    """Of two equally cheap blends of one mass, the one with less in the row."""
    urea = P(key="urea", analysis=UREA.analysis, price_kg=0.6, placements=BOTH)
    best = blend({"N": 80}, [urea], max_products=1, limits=[ROW_N])
    assert best.placed_kg_ha == {"urea": {"side-band": pytest.approx(80 / 0.46)}}


def test_bins_and_streams_limit_the_blend():
    products = [P(key=p.key, analysis=p.analysis, price_kg=p.price_kg, placements=BOTH) for p in (UREA, MAP, SULPHATE)]
    needs = {"N": 80, "P2O5": 30, "S": 10}
    three = [FreeBin(key="A", feeds=("side-band",)), FreeBin(key="B", feeds=BOTH), FreeBin(key="C", feeds=("seed-row",))]
    best = blend(needs, products, max_products=3, bins=three)
    assert sum(len(places) for places in best.placed_kg_ha.values()) <= 3
    assert blend_supplies(best.placed_kg_ha, products, needs=needs, bins=three).keeps_all
    # two bins: map and sulphate only, for every other pair lacks a nutrient
    assert set(blend(needs, products, max_products=3, bins=three[:2]).rates_kg_ha) == {"map", "sulphate"}
    with pytest.raises(InfeasibleError) as raised:
        blend(needs, products, max_products=3, bins=three[:1])
    assert any("bins for granular" in f.where for f in raised.value.faults)


def test_one_bin_to_a_product_in_each_placement():
    """A product in the row and in the band takes two bins."""
    product = P(key="map", analysis=MAP.analysis, price_kg=0.8, placements=BOTH)
    limits = [ROW_N, BlendLimit(key="row P", least_kg_ha=10, nutrients=("P2O5",), placements=("seed-row",))]
    two = [FreeBin(key="A", feeds=("side-band",)), FreeBin(key="B", feeds=("seed-row",))]
    best = blend({"P2O5": 40}, [product], max_products=1, limits=limits, bins=two)
    assert set(best.placed_kg_ha["map"]) == set(BOTH)
    with pytest.raises(InfeasibleError):
        blend({"P2O5": 40}, [product], max_products=1, limits=limits, bins=two[1:])


def test_a_tank_holds_no_granules_and_ammonia_needs_its_own():
    uan = P(key="uan", analysis={"N": 0.28}, price_kg=0.30, form="liquid", density_kg_l=1.28)
    ammonia = P(key="ammonia", analysis={"N": 0.82}, price_kg=0.90, form="ammonia", placements=("mid-row",))
    bins = [FreeBin(key="A", feeds=("side-band",)), FreeBin(key="T", feeds=("side-band",), form="liquid")]
    assert set(blend({"N": 80}, [UREA, uan, ammonia], max_products=2, bins=bins).rates_kg_ha) == {"uan"}
    bins.append(FreeBin(key="N", feeds=("mid-row",), form="ammonia"))
    dearer = P(key="uan", analysis={"N": 0.28}, price_kg=0.50, form="liquid")
    assert blend({"N": 80}, [UREA, dearer, ammonia], max_products=2, bins=bins).rates_kg_ha == {"ammonia": pytest.approx(80 / 0.82)}
    litres = blend_supplies({"uan": 80 / 0.28}, [uan]).liquid_l_ha
    assert litres == {"uan": pytest.approx(80 / 0.28 / 1.28)}
    assert blend_supplies({"uan": 100}, [dearer]).liquid_l_ha == {"uan": None}


def test_ammonia_is_refused_in_the_seed_row():
    with pytest.raises(RangeError, match="never in the seed row"):
        blend({"N": 80}, [P(key="ammonia", analysis={"N": 0.82}, price_kg=1, form="ammonia", placements=BOTH)], max_products=1)


def test_a_dose_below_the_smallest_is_none_or_the_smallest():
    """10 S from sulphate is 41.7 kg; it cannot be dosed below 60, so 60 it is."""
    coarse = P(key="sulphate", analysis=SULPHATE.analysis, price_kg=0.4, least_kg_ha=60)
    best = blend({"N": 80, "S": 10}, [UREA, coarse], max_products=2)
    assert best.rates_kg_ha == pytest.approx({"sulphate": 60, "urea": (80 - 0.21 * 60) / 0.46})
    assert any(b.key == "sulphate, smallest dose, side-band" and b.limit == 60 for b in best.binding)
    assert set(blend({"N": 80}, [UREA, coarse], max_products=2).rates_kg_ha) == {"urea"}


def test_mass_in_a_stream_and_a_need_that_must_not_be_passed():
    """60 kg of sulphate at most: 12.6 N; what is left of 80 N is urea."""
    limits = [BlendLimit(key="band mass", most_kg_ha=150, placements=("side-band",))]
    with pytest.raises(InfeasibleError) as raised:
        blend({"N": 80}, [UREA, SULPHATE], max_products=2, limits=limits)
    assert {f.where for f in raised.value.faults} == {"N, least", "band mass, most"}
    exact = blend({"N": (80, 80), "S": (10, 10)}, [UREA, SULPHATE], max_products=2)
    assert exact.supplied == pytest.approx({"N": 80, "S": 10}, rel=1e-12)


def test_ties_go_to_fewer_products_then_less_mass_then_the_name():
    twins = [P(key=k, analysis={"N": 0.46}, price_kg=0.60) for k in ("b", "a", "c")]
    best = blend({"N": 46}, twins, max_products=3)
    assert list(best.rates_kg_ha) == ["a"]
    assert [list(r.rates_kg_ha) for r in best.runners_up] == [["b"], ["c"]]  # no set of two earns its second place
    heavier = [P(key="a", analysis={"N": 0.23}, price_kg=0.30), P(key="b", analysis={"N": 0.46}, price_kg=0.60)]
    assert list(blend({"N": 46}, heavier, max_products=1).rates_kg_ha) == ["b"]


def test_free_products_are_not_thrown_about():
    """At price 0 any amount costs the same; the least is taken."""
    free = P(key="urea", analysis={"N": 0.46}, price_kg=0.0)
    best = blend({"N": 46}, [free, P(key="dear", analysis={"N": 0.46}, price_kg=1)], max_products=2)
    assert best.rates_kg_ha == {"urea": pytest.approx(100)}
    assert best.cost_ha == 0.0


def test_nothing_needed_is_nothing():
    for needs in ({}, {"N": 0}, {"N": (0, 50)}, {"N": (None, 50)}):
        best = blend(needs, [UREA, MAP], max_products=2)
        assert (best.rates_kg_ha, best.cost_ha, best.mass_kg_ha, best.runners_up) == ({}, 0.0, 0, ())
        assert best.proof.optimal and best.proof.verified


def test_a_nutrient_that_nobody_carries_is_the_whole_conflict():
    with pytest.raises(InfeasibleError) as raised:
        blend({"N": 80, "Zn": 2}, [UREA, MAP], max_products=2, limits=[ROW_N])
    (fault,) = raised.value.faults
    assert (fault.where, fault.limit) == ("Zn, least", "at least 2 kg/ha")
    assert conflict({"N": 80}, [UREA], max_products=1) == ()


def test_too_few_products_is_told_with_the_needs_that_ask_for_more():
    with pytest.raises(InfeasibleError) as raised:
        blend({"P2O5": 30, "S": 10}, [MAP, SULPHATE], max_products=1)
    assert [f.where for f in raised.value.faults] == ["P2O5, least", "S, least", "max_products"]
    assert all(f.cure for f in raised.value.faults)


def test_more_products_allowed_than_listed_and_an_empty_product():
    filler = P(key="sand", analysis={}, price_kg=0.01)
    best = blend({"N": 46}, [UREA, filler], max_products=50)
    assert (list(best.rates_kg_ha), best.proof.sets) == (["urea"], 3)


def test_forty_products_at_three():
    products = [
        P(key=f"p{i:02d}", analysis={"N": 0.10 + 0.005 * i, "P2O5": 0.30 - 0.005 * i}, price_kg=0.4 + 0.01 * (i * 7 % 11))
        for i in range(40)
    ]
    best = blend({"N": 80, "P2O5": 40}, products, max_products=3)
    assert best.proof.optimal and best.proof.sets == 40 + 780 + 9880

    def pair(a, b):  # both needs met exactly, or one alone
        d = a.analysis["N"] * b.analysis["P2O5"] - a.analysis["P2O5"] * b.analysis["N"]
        x, y = (80 * b.analysis["P2O5"] - 40 * b.analysis["N"]) / d, (40 * a.analysis["N"] - 80 * a.analysis["P2O5"]) / d
        return x * a.price_kg + y * b.price_kg if x >= 0 and y >= 0 else float("inf")

    alone = min(p.price_kg * max(80 / p.analysis["N"], 40 / p.analysis["P2O5"]) for p in products)
    assert best.cost_ha == pytest.approx(min(alone, *(pair(a, b) for a, b in combinations(products, 2))), rel=1e-9)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"price_kg": -0.1}, "price_kg"),
        ({"price_kg": float("nan")}, "price_kg"),
        ({"stock_kg_ha": -5.0}, "stock_kg_ha"),
        ({"analysis": {"N": 1.2}}, "share of N"),
        ({"analysis": {"N": 0.7, "S": 0.6}}, "all shares together"),
        ({"analysis": {"N": -0.1}}, "share of N"),
        ({"placements": ()}, "no placement"),
        ({"placements": ("broadcast",)}, "broadcast"),
        ({"form": "gas"}, "gas"),
        ({"available_kg_ha": -1.0}, "available_kg_ha"),
        ({"least_kg_ha": float("inf")}, "least_kg_ha"),
        ({"form": "liquid", "density_kg_l": 0.0}, "density_kg_l"),
        ({"stock_kg_ha": 5.0, "stock_price_kg": 2.0}, "stock_price_kg"),
    ],
)
def test_a_product_that_cannot_be_is_refused_by_name(change, says):
    with pytest.raises(InputError, match=re.escape(says)) as raised:
        blend({"N": 80}, [P(**({"key": "odd", "analysis": {"N": 0.46}, "price_kg": 0.6} | change))], max_products=1)
    assert "odd" in str(raised.value)


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ({"products": []}, "there is none"),
        ({"products": [UREA, UREA]}, "stands there twice"),
        ({"products": [P(key=f"p{i}", analysis={"N": 0.4}, price_kg=1) for i in range(61)]}, "50 at most"),
        ({"needs": {"N": -80}}, "need of N"),
        ({"needs": {"N": (90, 80)}}, "least <= most"),
        ({"max_products": 0}, "max_products"),
        ({"next_best": -1}, "next_best"),
        ({"limits": [BlendLimit(key="empty")]}, "limits nothing"),
        ({"limits": [BlendLimit(key="x", most_kg_ha=-1)]}, "x"),
        ({"limits": [BlendLimit(key="x", most_kg_ha=1, placements=("roof",))]}, "roof"),
        ({"limits": [BlendLimit(key="x", most_kg_ha=1, products=("gold",))]}, "gold"),
        ({"bins": [FreeBin(key="A", feeds=("roof",))]}, "roof"),
    ],
)
def test_a_question_that_cannot_be_is_refused(more, says):
    question = {"needs": {"N": 80}, "products": [UREA], "max_products": 1} | more
    with pytest.raises(InputError, match=re.escape(says)):
        blend(question.pop("needs"), question.pop("products"), **question)


# a given blend ---------------------------------------------------------------------------------------------------------
def test_a_given_blend_by_hand():
    row_map = P(key="map", analysis=MAP.analysis, price_kg=0.8, placements=BOTH, stock_kg_ha=20)
    given = blend_supplies(
        {"urea": 150, "map": {"seed-row": 50, "side-band": 10}},
        [UREA, row_map],
        needs={"N": 80, "P2O5": (20, 30), "S": 5},
        limits=[ROW_N],
        bins=[FreeBin(key="A", feeds=BOTH), FreeBin(key="B", feeds=("side-band",))],
    )
    assert given.supplied == pytest.approx({"N": 150 * 0.46 + 60 * 0.11, "P2O5": 60 * 0.52})
    assert given.placed["seed-row"].supplied == pytest.approx({"N": 5.5, "P2O5": 26})
    assert given.placed["side-band"].analysis["N"] == pytest.approx((150 * 0.46 + 10 * 0.11) / 160)
    assert given.cost_ha == pytest.approx(150 * 0.6 + 40 * 0.8)
    standing = {h.key: (h.standing, round(h.off, 6)) for h in given.held}
    assert standing == {"N": ("under", 4.4), "P2O5": ("over", 1.2), "S": ("under", 5), "row N": ("kept", 0)}
    assert (given.bins_short, given.keeps_all) == (1, False)


def test_a_given_blend_that_cannot_be_read_is_refused_with_every_fault():
    with pytest.raises(InputError) as raised:
        blend_supplies({"gold": 1, "map": {"mid-row": 5}, "urea": -3}, [UREA, MAP])
    assert len(raised.value.faults) == 3
    both = P(key="map", analysis=MAP.analysis, placements=BOTH)
    with pytest.raises(InputError, match="may go to seed-row or side-band"):
        blend_supplies({"map": 50}, [both])
    assert blend_supplies({"urea": 10}, [P(key="urea", analysis={"N": 0.46})]).cost_ha is None


def test_what_comes_out_keeps_all_when_it_is_put_back_in():
    needs, products = {"N": (80, 90), "P2O5": 30, "S": 10}, [UREA, MAP, SULPHATE]
    best = blend(needs, products, max_products=3)
    back = blend_supplies(best.placed_kg_ha, products, needs=needs)
    assert back.keeps_all and back.cost_ha == pytest.approx(best.cost_ha)


def test_the_shipped_search_calls_no_mixed_integer_program():
    """Nothing of ours imports or names one."""
    words = re.compile(r"\bmilp\b|highspy|ortools|pulp|linprog|\bHighs\b")
    sources = Path(evenstand.__file__).parent.rglob("*.py")
    assert [p.name for p in sources if p.name != "on_blending.py" and words.search(p.read_text(encoding="utf-8"))] == []
