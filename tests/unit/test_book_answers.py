"""At most ten typed values become an outfit, a job and products; what is not typed stays unknown; every wrong answer is named."""

from __future__ import annotations

import pytest

from book_things import clock
from evenstand.base.errors import InputError
from evenstand.base.units import PROFILES
from evenstand.book import Book
from evenstand.desk.books import QUESTIONS, keep_answers, new_book, outfit_from_answers
from evenstand.model import Job, MeterFactor, Outfit, Product

ACRE_HA = 0.40468564224
LB_KG = 0.45359237


def test_ten_answers_make_an_outfit_a_job_and_its_products():
    first = outfit_from_answers(
        {
            "outfit": "The big drill", "rows": "64", "spacing": "254 mm", "speed": "7.6 km/h", "bins": "A 6.2 seed, B 4.6 urea",
            "drive": "ground", "crop": "Wheat", "rate": "120, urea 150 kg/ha", "area": "62 ha", "factor": "1.25",
        },
        season=2027, at="2027-05-04T12:00:00.000Z",
    )  # fmt: skip
    outfit, job = first.outfit, first.job
    assert (outfit.key, outfit.name, outfit.rows, outfit.row_spacing_m, outfit.drive) == (
        "the-big-drill",
        "The big drill",
        64,
        0.254,
        "ground",
    )
    assert outfit.width_m == pytest.approx(16.256)
    assert outfit.speed_m_s == pytest.approx(7.6 / 3.6)
    assert [(b.letter, b.capacity_m3.value, b.label) for b in outfit.bins] == [("A", 6.2, "seed"), ("B", 4.6, "urea")]
    assert (job.crop, job.season, job.area_ha, job.outfit, job.key) == ("wheat", 2027, 62.0, "the-big-drill", "wheat-2027")
    assert [(a.product, a.rate_kg_ha, a.bins) for a in job.asks] == [("wheat-seed", 120.0, ("A",)), ("urea", 150.0, ("B",))]
    assert [(p.key, p.name, p.kind, p.crop) for p in first.products] == [
        ("wheat-seed", "wheat seed", "seed", "wheat"),
        ("urea", "urea", "fertilizer", ""),
    ]
    (factor,) = first.factors
    assert (factor.bin, factor.product, factor.kg_turn.value, factor.how, factor.outfit) == (
        "A",
        "wheat-seed",
        1.25,
        "typed",
        "the-big-drill",
    )
    assert first.notes == ()


def test_nothing_typed_leaves_everything_unknown():
    first = outfit_from_answers({"rows": "", "speed": "   ", "bins": None})
    outfit = first.outfit
    assert (outfit.rows, outfit.row_spacing_m, outfit.width_m, outfit.speed_m_s, outfit.bins) == (None, None, None, None, ())
    assert (outfit.widths.true_m, outfit.widths.rate_m) == (None, None)
    assert (first.job.area_ha, first.job.asks, first.job.crop, first.job.survival, first.job.depth_m) == (None, (), "", None, None)
    assert (first.products, first.factors) == ((), ())


def test_no_product_gets_a_density_an_analysis_or_a_price_that_was_not_typed():
    for product in outfit_from_answers({"crop": "wheat", "rate": "120, urea 80, map 40", "bins": "A seed, B urea, C map"}).products:
        assert (product.density_kg_m3, product.analysis, product.price_kg) == (None, {}, None)


def test_a_typed_width_is_the_one_typed_for_the_rate_and_never_a_taped_one():
    outfit = outfit_from_answers({"width": "16.3"}).outfit
    assert (outfit.widths.rate_m, outfit.widths.true_m, outfit.width_m) == (16.3, None, 16.3)


def test_rows_and_width_that_disagree_are_both_kept_and_pointed_out():
    first = outfit_from_answers({"rows": "64", "spacing": "254", "width": "16.0"})
    assert first.outfit.width_m == pytest.approx(16.256)
    assert first.outfit.widths.rate_m == 16.0
    assert "64 rows x 254 mm is 16.26 m, 16.00 m is given" in first.notes[0]
    assert outfit_from_answers({"rows": "64", "spacing": "254", "width": "16.26"}).notes == ()


def test_numbers_without_a_unit_are_read_in_the_profile():
    first = outfit_from_answers({"rows": "60", "spacing": "10", "speed": "5", "rate": "107", "area": "160", "bins": "A 200"}, "us")
    assert first.outfit.row_spacing_m == pytest.approx(0.254)
    assert first.outfit.speed_m_s == pytest.approx(5 * 1609.344 / 3600)
    assert first.job.asks[0].rate_kg_ha == pytest.approx(107 * LB_KG / ACRE_HA)
    assert first.job.area_ha == pytest.approx(160 * ACRE_HA)
    assert first.outfit.bins[0].capacity_m3.value == pytest.approx(200 * 35.23907016688 / 1000)


@pytest.mark.parametrize(
    ("typed", "bins"),
    [
        ("A=6.2,B=4.6", [("A", 6.2, ""), ("B", 4.6, "")]),
        ("A 6,2 seed; B 4,6 urea", [("A", 6.2, "seed"), ("B", 4.6, "urea")]),
        ("a: 6.2, c: 1.1", [("A", 6.2, ""), ("C", 1.1, "")]),
        ("A, B, C", [("A", None, ""), ("B", None, ""), ("C", None, "")]),
        ("6.2; 4.6", [("A", 6.2, ""), ("B", 4.6, "")]),
        ("6.2, 4.6 urea", [("A", 6.2, ""), ("B", 4.6, "urea")]),
        ("A 6200 L wheat seed", [("A", 6.2, "wheat seed")]),
        ("A 100 bu (imp) seed", [("A", 3.636872, "seed")]),
        ("A seed, B 4.6 m3", [("A", None, "seed"), ("B", 4.6, "")]),
    ],
)
def test_bins_are_read_as_people_write_them(typed, bins):
    found = outfit_from_answers({"bins": typed}).outfit.bins
    assert [(b.letter, b.label) for b in found] == [(letter, label) for letter, _, label in bins]
    for b, (_, volume, _) in zip(found, bins, strict=True):
        assert (b.capacity_m3 is None) == (volume is None)
        assert volume is None or b.capacity_m3.value == pytest.approx(volume)


@pytest.mark.parametrize(
    ("typed", "asks"),
    [
        ("120", {"wheat-seed": 120}),
        ("120 kg/ha, urea 80", {"wheat-seed": 120, "urea": 80}),
        ("120, 11-52-0=40", {"wheat-seed": 120, "11-52-0": 40}),
        ("urea: 80; map 40 kg/ha", {"urea": 80, "map": 40}),
        ("107.07 lb/ac", {"wheat-seed": 107.07 * LB_KG / ACRE_HA}),
    ],
)
def test_rates_are_read_as_people_write_them(typed, asks):
    found = {a.product: a.rate_kg_ha for a in outfit_from_answers({"crop": "wheat", "rate": typed}).job.asks}
    assert found == pytest.approx(asks)


def test_the_only_bin_holds_the_only_product():
    job = outfit_from_answers({"crop": "pea", "rate": "215", "bins": "A 6.6"}).job
    assert job.asks[0].bins == ("A",)


def test_bins_whose_content_is_not_said_are_left_to_the_plan():
    job = outfit_from_answers({"crop": "pea", "rate": "215, map 40", "bins": "A 6.6, B 4"}).job
    assert [a.bins for a in job.asks] == [(), ()]


def test_a_bin_of_fertilizer_holds_the_only_fertilizer():
    job = outfit_from_answers({"crop": "pea", "rate": "215, map 40", "bins": "A 6.6 seed, B 4 fertilizer"}).job
    assert [(a.product, a.bins) for a in job.asks] == [("pea-seed", ("A",)), ("map", ("B",))]


def test_a_product_in_a_bin_without_a_rate_is_known_and_not_asked_for():
    first = outfit_from_answers({"crop": "wheat", "rate": "120", "bins": "A seed, B urea"})
    assert [p.key for p in first.products] == ["wheat-seed", "urea"]
    assert [a.product for a in first.job.asks] == ["wheat-seed"]


def test_products_per_turn_go_to_their_bins():
    first = outfit_from_answers({"crop": "wheat", "bins": "A seed, B urea", "factor": "A=1.25, B=1180 g/turn"})
    assert {(f.bin, f.product): round(f.kg_turn.value, 6) for f in first.factors} == {("A", "wheat-seed"): 1.25, ("B", "urea"): 1.18}


def test_every_wrong_answer_is_named_at_once_by_its_question():
    with pytest.raises(InputError) as caught:
        outfit_from_answers(
            {
                "rows": "63.5", "spacing": "10", "width": "16,300", "speed": "75", "bins": "A 5 bu, A 3, 2 m, tank", "drive": "horse",
                "rate": "-3, urea 20, urea 30", "area": "many", "factor": "Z=1.2",
            }
        )  # fmt: skip
    by_field: dict[str, list[str]] = {}
    for fault in caught.value.faults:
        by_field.setdefault(fault.where, []).append(str(fault))
    assert set(by_field) == {q.name for q in QUESTIONS} - {"outfit", "crop"}
    assert "no whole number" in by_field["rows"][0]
    assert "50 mm to 1" in by_field["spacing"][0]
    assert "read two ways" in by_field["width"][0]
    assert "bu (US) or bu (imp)" in by_field["bins"][0]
    assert "bin A stands twice" in by_field["bins"][1]
    assert "begins with no letter" in by_field["bins"][-1]
    assert "urea has two rates" in by_field["rate"][1]
    assert "there is no bin Z" in by_field["factor"][0]


@pytest.mark.parametrize("profile", PROFILES)
def test_the_limits_of_a_question_are_told_in_the_units_of_the_profile(profile):
    with pytest.raises(InputError, match="kg/ha" if profile == "si" else "lb/ac"):
        outfit_from_answers({"rate": "99999"}, profile)


def test_answers_are_kept_as_one_change_that_can_be_undone(tmp_path):
    with Book.create(tmp_path / "b", farm="F", clock=clock()) as book:
        job = keep_answers(
            book, {"outfit": "Drill", "rows": "64", "crop": "wheat", "rate": "120", "bins": "A 6.2", "factor": "1.25"}, clock=clock()
        )
        assert book.get(Job, job.key) == job
        assert (len(book.all(Outfit)), len(book.all(Product)), len(book.all(MeterFactor))) == (1, 1, 1)
        changes = {e.id for e in book.history()}
        assert len(changes) == 2
        book.undo(max(changes))
        assert (book.all(Outfit), book.all(Product), book.all(Job)) == ((), (), ())


def test_a_second_outfit_gets_its_own_keys_and_shares_the_products(tmp_path):
    with Book.create(tmp_path / "b", farm="F", clock=clock()) as book:
        keep_answers(book, {"outfit": "Drill", "crop": "wheat", "rate": "120"}, clock=clock())
        second = keep_answers(book, {"outfit": "Drill", "crop": "wheat", "rate": "110"}, clock=clock())
        assert (second.key, second.outfit) == ("wheat-2027-2", "drill-2")
        assert len(book.all(Product)) == 1
        assert book.check().ok


def test_wrong_answers_are_refused_before_a_book_is_made(tmp_path):
    with pytest.raises(InputError):
        new_book(tmp_path / "b", farm="F", answers={"rows": "many"}, clock=clock())
    assert not (tmp_path / "b").exists()


def test_a_book_from_answers_can_be_planned(tmp_path):
    from evenstand.desk.planning import plan_job

    first = new_book(
        tmp_path / "b", farm="F", clock=clock(),
        answers={"width": "16.3", "speed": "7.5", "crop": "wheat", "rate": "120", "area": "62"},
    )  # fmt: skip
    with Book.open(tmp_path / "b") as book:
        plan = plan_job(book, first.job.key)
    assert plan.in_work_ha_h == pytest.approx(16.3 * 7.5 / 10)
    assert plan.total_kg == {"wheat-seed": pytest.approx(7440)}
