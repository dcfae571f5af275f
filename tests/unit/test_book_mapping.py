"""What is put into a book comes out equal, and what a book cannot keep is refused with every fault named."""

from __future__ import annotations

import dataclasses
import typing

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from book_samples import ORIGINAL_HASH, THINGS, put_all
from book_things import AT, BOUNDARY, CATCH, FACTOR, FILL, JOB, OUTFIT, READING, UREA, WHEAT, clock, est, put_field_work, square
from evenstand.base.errors import BookError, InputError
from evenstand.base.estimate import Est
from evenstand.base.worked import Working
from evenstand.book import Book, Farm, JobReading, key_of
from evenstand.book.history import historic_columns
from evenstand.book.kinds import KINDS
from evenstand.book.mapping import rows_of
from evenstand.book.tables import metadata
from evenstand.model import (
    Bin,
    BinPlan,
    Boundary,
    CardLine,
    Drive,
    Fill,
    Job,
    Lot,
    MeterFactor,
    Order,
    Outfit,
    Plan,
    Polygon,
    Product,
    Reading,
    Stop,
)


@pytest.fixture
def book(tmp_path):
    with Book.create(tmp_path / "book", farm="Willow Bend", clock=clock()) as made:
        yield made


def test_every_type_a_book_keeps_has_a_sample():
    assert {type(thing) for thing in THINGS} == set(KINDS)


def test_every_field_of_a_sample_differs_from_its_default():
    filled = {type(t): t for t in THINGS if getattr(t, "key", "") not in {"urea", "del-1", "truck-1"}}
    allowed = {(MeterFactor, "lot"), (Fill, "lot"), (type(CATCH), "lot"), (Order, "lot"), (Product, "analysis")}
    for kept, thing in filled.items():
        for field in dataclasses.fields(kept):
            if field.default is not dataclasses.MISSING and (kept, field.name) not in allowed and kept.__name__ != "Load":
                assert getattr(thing, field.name) != field.default, f"{kept.__name__}.{field.name} is not exercised"


def test_everything_put_in_comes_out_equal_also_after_closing(tmp_path):
    with Book.create(tmp_path / "b", farm="Willow Bend", clock=clock()) as book:
        put_all(book)
        for thing in THINGS:
            assert book.get(type(thing), key_of(thing)) == thing
    with Book.open(tmp_path / "b") as book:
        for thing in THINGS:
            assert book.get(type(thing), key_of(thing)) == thing
            assert thing in book.all(type(thing))
        assert book.check().ok


def test_putting_the_same_again_changes_nothing_and_leaves_no_history(book):
    put_all(book)
    before = book.dump()
    for thing in THINGS:
        assert book.put(thing) == 0
    assert book.dump() == before


def test_columns_and_fields_match_with_nothing_left_over():
    for thing in THINGS:
        kind = KINDS[type(thing)]
        for name, rows in rows_of(kind, thing).items():
            for row in rows.values():
                assert set(row) == set(historic_columns(metadata.tables[name])), name


def test_each_table_of_a_type_has_rows_in_the_samples():
    empty = {table.name for kind in KINDS.values() for table in kind.tables()}
    for thing in THINGS:
        empty -= {name for name, rows in rows_of(KINDS[type(thing)], thing).items() if rows}
    assert empty == set()


def test_unknown_comes_back_as_unknown(book):
    book.put(Outfit(key="bare", name="bare"))
    found = book.get(Outfit, "bare")
    assert found == Outfit(key="bare", name="bare")
    assert (found.rows, found.widths.true_m, found.bins) == (None, None, ())


def test_bins_and_runs_keep_their_order(book):
    book.put(OUTFIT)
    turned = dataclasses.replace(OUTFIT, bins=OUTFIT.bins[::-1], runs=OUTFIT.runs[::-1])
    book.put(turned)
    assert [b.letter for b in book.get(Outfit, OUTFIT.key).bins] == ["A", "B"]
    assert book.get(Outfit, OUTFIT.key) == turned


def test_parts_taken_out_are_gone(book):
    put_field_work(book)
    book.put(dataclasses.replace(JOB, asks=JOB.asks[:1], extra={}))
    assert book.get(Job, JOB.key).asks == JOB.asks[:1]
    assert book.get(Job, JOB.key).extra == {}


def test_outline_metres_come_back_to_the_last_bit(book):
    book.put(BOUNDARY)
    found = book.get(Boundary, "north")
    assert found.polygons == BOUNDARY.polygons
    assert found.obstacles[0].outside[1][0] == 200.0 + 12.345678901234567


def test_the_farm_tells_name_and_units(book):
    book.put(Farm(name="New Name", profile="us"))
    assert (book.farm, book.profile) == ("New Name", "us")


def test_all_filters_and_orders_by_time_then_key(book):
    put_field_work(book)
    for i, at in enumerate(["2027-05-06T00:00:00.000Z", AT, "2027-05-05T00:00:00.000Z"]):
        book.put(dataclasses.replace(FILL, key=f"f{i}", at=at, load=""))
    book.put(dataclasses.replace(FILL, key="elsewhere", job="", load=""))
    assert [f.key for f in book.all(Fill, job=JOB.key)] == ["f1", "f2", "f0"]
    assert [f.key for f in book.all(Fill, job="")] == ["elsewhere"]
    with pytest.raises(BookError, match=r"fills has no colour. It has key"):
        book.all(Fill, colour="red")


def test_a_filter_by_a_renamed_field_works(book):
    put_all(book)
    from evenstand.book import Original

    assert [o.name for o in book.all(Original, hash=ORIGINAL_HASH)] == ["log.csv"]


def test_more_things_than_one_statement_can_name_come_back_whole(book):
    put_field_work(book)
    with book.batch("many"):
        for i in range(620):
            book.put(JobReading(key=f"r{i:04}", job=JOB.key, reading=dataclasses.replace(READING, value=float(i))))
    found = book.all(JobReading, job=JOB.key)
    assert len(found) == 620
    assert all(r.reading.derived_from == READING.derived_from for r in found)


def test_keys_made_of_several_values_find_their_thing(book):
    put_field_work(book)
    book.put(FACTOR)
    assert book.get(MeterFactor, ("big-drill", "B", "urea", "", "gear 3", AT)) == FACTOR
    assert book.get(MeterFactor, key_of(FACTOR)) == FACTOR
    newer = dataclasses.replace(FACTOR, at="2027-05-06T08:00:00.000Z", kg_turn=est(1.21))
    book.put(newer)
    assert book.all(MeterFactor, outfit="big-drill") == (FACTOR, newer)


def test_numpy_numbers_are_kept_as_numbers(book):
    book.put(
        Outfit(key="n", name="n", rows=np.int64(39), row_spacing_m=np.float64(0.305), bins=(Bin(letter="A", has_scale=np.bool_(True)),))
    )
    found = book.get(Outfit, "n")
    assert (found.rows, found.row_spacing_m, found.bins[0].has_scale) == (39, 0.305, True)
    assert type(found.rows) is int


@pytest.mark.parametrize(
    ("written", "kept"),
    [
        ("2027-05-04T11:20:00Z", "2027-05-04T11:20:00.000Z"),
        ("2027-05-04T05:20:00-06:00", "2027-05-04T11:20:00.000Z"),
        ("2027-05-04T11:20:00.250+00:00", "2027-05-04T11:20:00.250Z"),
        ("", ""),
    ],
)
def test_times_are_kept_in_utc_with_z(book, written, kept):
    put_field_work(book)
    book.put(dataclasses.replace(FILL, at=written, load=""))
    assert book.get(Fill, FILL.key).at == kept


def test_every_fault_of_a_thing_is_named_at_once(book):
    wrong = dataclasses.replace(
        OUTFIT,
        rows=12.5,
        row_spacing_m=float("nan"),
        name=None,
        bins=(Bin(letter="A"), Bin(letter="A", has_scale=1)),
        speed_m_s="fast",
        antenna_ahead_m=None,
    )
    with pytest.raises(InputError) as caught:
        book.put(wrong)
    text = str(caught.value)
    for said in (
        "rows: 12.5 is no whole number",
        "nan is no number",
        "name: is missing",
        "bins has A twice",
        "has_scale: 1 is no yes or no",
    ):
        assert said in text
    assert "'fast' is no number" in text
    assert "antenna_ahead_m: is missing" in text
    assert book.all(Outfit) == ()


@pytest.mark.parametrize(
    ("thing", "said"),
    [
        (dataclasses.replace(WHEAT, key=""), "its key is empty"),
        (dataclasses.replace(WHEAT, name="a\0b"), "zero character"),
        (dataclasses.replace(WHEAT, name="\ud800"), "surrogates not allowed"),
        (dataclasses.replace(UREA, analysis={"N": float("inf")}), "inf is no number"),
        (dataclasses.replace(FILL, at="yesterday"), "'yesterday' is no time"),
        (dataclasses.replace(BOUNDARY, polygons=(Polygon(outside=square(0, 0, 9)[:-1]),)), "not closed"),
        (Lot(key="l", product=""), "product: is missing"),
        (dataclasses.replace(OUTFIT, rows=2**70), "too large"),
    ],
)
def test_what_cannot_be_kept_is_refused_in_words(book, thing, said):
    with pytest.raises(InputError, match=said):
        book.put(thing)
    assert book.all(type(thing)) == ()


def test_naming_something_the_book_does_not_have_is_refused_by_name(book):
    with pytest.raises(InputError, match=r"lots 'lot-1', product: names 'wheat', which is not in products"):
        book.put(THINGS[4])
    assert book.all(Lot) == ()


def test_what_others_name_cannot_be_taken_out(book):
    put_field_work(book)
    before = book.dump()
    with pytest.raises(InputError, match=r"job_asks 'wheat-north, 1', product: names 'urea'"):
        book.remove(Product, "urea")
    assert book.dump() == before


def test_a_batch_may_put_things_in_any_order(book):
    with book.batch("backwards"):
        for thing in reversed(THINGS):
            book.put(thing)
    assert book.get(Job, JOB.key) == JOB
    assert {type(t) for t in THINGS} == {type(t) for kept in KINDS for t in book.all(kept)}


def test_a_type_no_book_keeps_is_refused(book):
    with pytest.raises(BookError, match="a book keeps no Reading"):
        book.put(READING)
    with pytest.raises(BookError, match="a book keeps no Head"):
        book.history("Head")


def _plan() -> Plan:
    drive = Drive(
        xy_m=np.array([[0.0, 0.0], [0.0, 100.0], [12.0, 100.0]]), station_m=np.array([0.0, 100.0, 112.0]), t_s=np.array([0.0, 50.0, 56.0]),
        kind=np.array([1, 1, 2]), pass_id=np.array([1, 1, 0]), width_m=12.0, direction_deg=0.0, headland_rounds=0, passes=1, notes=("one",),
    )  # fmt: skip
    work = Working(
        name="f", formula="a * b", inputs=(("a", 2.0), ("b", "x")), substituted="2 * x", result=4.0, source="definition", where=""
    )
    return Plan(
        job=JOB.key, crop="wheat", outfit="big-drill", field_name="North", area_ha=62.0, width_m=12.0, speed_m_s=2.0, in_work_ha_h=8.6,
        efficiency_low=None, efficiency_high=None, low_ha_h=None, high_ha_h=None, hours_in_work=7.2, hours_low=None, hours_high=None,
        bins=(BinPlan(bin="A", product="wheat", rate_kg_ha=120.0, factor_kg_turn=est(1.25)),), total_kg={"wheat": 7440.0}, drive=drive,
        stops=(Stop(after_pass=14, latest_pass=16, at_ha=20.0, at_h=2.0, left_kg={"A": 100.0}, add_kg={"A": 4000.0}),),
        card=(CardLine(key="s", group="travel", label="Speed", quantity="speed", state="known", value=2.0, working=work, needs=("a",)),),
        proof={"stops": "least"}, input_hash="0123456789abcdef",
    )  # fmt: skip


def test_a_plan_is_cache_by_its_inputs_and_never_history(book):
    plan = _plan()
    before = len(book.history())
    assert book.put(plan) == 0
    found = book.get(Plan, plan.input_hash)
    assert len(book.history()) == before
    assert dataclasses.replace(found, drive=None) == dataclasses.replace(plan, drive=None)
    for name in ("xy_m", "station_m", "t_s", "kind", "pass_id"):
        assert np.array_equal(getattr(found.drive, name), getattr(plan.drive, name))
        assert not getattr(found.drive, name).flags.writeable
    assert dataclasses.replace(found.drive, **{f.name: None for f in dataclasses.fields(Drive)}) == dataclasses.replace(
        plan.drive, **{f.name: None for f in dataclasses.fields(Drive)}
    )
    assert book.get(Plan, "no such hash") is None
    with pytest.raises(InputError, match="has no input hash"):
        book.put(dataclasses.replace(plan, input_hash=""))


number = st.floats(allow_nan=False, allow_infinity=False)
some_text = st.text(st.characters(blacklist_categories=["Cs"], blacklist_characters="\0"), max_size=20)
estimate = st.none() | st.builds(Est, value=number, sd=st.floats(0, 1e300), basis=some_text, source=some_text)


@pytest.fixture(scope="module")
def shared(tmp_path_factory):
    with Book.create(tmp_path_factory.mktemp("shared") / "book", farm="F", clock=clock()) as made:
        made.put(UREA)
        yield made


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture], derandomize=True)
@given(
    key=some_text.filter(bool),
    name=some_text,
    price=st.none() | number,
    density=estimate,
    analysis=st.dictionaries(some_text, number, max_size=4),
)
def test_any_product_comes_back_equal(shared, key, name, price, density, analysis):
    product = Product(key=key, name=name, kind="fertilizer", price_kg=price, density_kg_m3=density, analysis=analysis)
    shared.put(product)
    assert shared.get(Product, key) == product


@settings(max_examples=40, deadline=None, derandomize=True)
@given(value=number, sd=st.floats(0, 1e300), quantity=some_text, derived=st.lists(some_text, max_size=4))
def test_any_reading_comes_back_equal(shared, value, sd, quantity, derived):
    if shared.get(Job, "j") is None:
        shared.put(Job(key="j", crop="", season=0))
    reading = JobReading(key="r", job="j", reading=Reading(quantity=quantity, value=value, sd=sd, derived_from=tuple(derived)))
    shared.put(reading)
    assert shared.get(JobReading, "r") == reading


def test_type_hints_of_every_kept_type_resolve():
    for kept in KINDS:
        assert typing.get_type_hints(kept)
