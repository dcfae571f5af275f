"""Heads, hoses and rows of an outfit, and whether its run map holds together."""

from __future__ import annotations

from dataclasses import replace

import pytest

from evenstand import machine
from evenstand.base.errors import MissingError, RangeError
from evenstand.model import Bin, Head, Meter, Outfit, Run, Stream, Widths


def outfit(outlets=(8, 8), *, spacing=0.25, streams=("seed",), **changes):
    """Openers from the left, heads A, B ... each on its own segment; one set of heads a stream, over the same openers."""
    heads, runs, letters = [], [], iter("ABCDEFGHIJ")
    rows = sum(outlets)
    for stream in streams:
        number = 0
        for segment, count in enumerate(outlets, start=1):
            letter = next(letters)
            heads.append(Head(letter=letter, outlets=count, stream=stream, segment=segment, primary_m=9.0))
            for outlet in range(1, count + 1):
                number += 1
                at = (number - (rows + 1) / 2) * spacing
                sensor = number + 100 * streams.index(stream)
                runs.append(Run(number=number, head=letter, outlet=outlet, offset_m=at, hose_m=3.0 + 0.1 * outlet, sensor=sensor))
    made = Outfit(
        key="o", name="o", rows=rows, row_spacing_m=spacing, streams=tuple(Stream(key=s) for s in streams), heads=tuple(heads), runs=tuple(runs),
    )  # fmt: skip
    return replace(made, **changes)


def changed(made, which, **changes):
    """The outfit with one run of that number (the first) changed."""
    index = next(i for i, r in enumerate(made.runs) if r.number == which)
    return replace(made, runs=(*made.runs[:index], replace(made.runs[index], **changes), *made.runs[index + 1 :]))


def kinds(made, state=None):
    return [f.about.removeprefix("run-map:") for f in machine.check_run_map(made) if state is None or f.state == state]


# -- loads ----------------------------------------------------------------------------------------------------------


def test_heads_of_seven_and_six_outlets_on_equal_segments_differ_by_a_sixth():
    loads = machine.head_loads(outfit((7, 6)), 100, 2.0)
    assert loads.worst == pytest.approx(1 / 6)
    assert loads.heads[0].solids_kg_s == pytest.approx(loads.heads[1].solids_kg_s)
    assert loads.heads[1].run_kg_s / loads.heads[0].run_kg_s == pytest.approx(7 / 6)
    assert any("taken to give the same" in note for note in loads.notes)


def test_product_over_air_is_told_only_where_the_air_is_given():
    still = machine.head_loads(outfit(), 200, 2.0)
    assert still.loading is None
    assert still.heads[0].air_kg_s is None
    blown = machine.head_loads(outfit(), 200, 2.0, air_kg_s={"A": 0.05, "B": 0.04})
    assert blown.head("B").loading == pytest.approx(200 * 2 * 4 / 1e4 / 2 / 0.04)
    assert blown.loading == blown.head("B").loading
    with pytest.raises(MissingError, match="head B"):
        machine.head_loads(outfit(), 200, 2.0, air_kg_s={"A": 0.05})
    with pytest.raises(KeyError):
        blown.head("Z")


def test_catches_of_the_heads_win_over_equal_segments():
    made = outfit((7, 6))
    caught = replace(made, heads=tuple(replace(h, caught_kg=0.7 if h.letter == "A" else 0.6) for h in made.heads))
    loads = machine.head_loads(caught, 100, 2.0)
    assert loads.worst == pytest.approx(0)
    assert not any("taken to give the same" in note for note in loads.notes)


def test_two_heads_on_one_segment_share_it_and_it_is_said():
    made = outfit((6, 6, 6))
    shared = replace(made, heads=tuple(replace(h, segment=1 if h.letter != "C" else 2) for h in made.heads))
    loads = machine.head_loads(shared, 100, 2.0)
    assert [round(h.share, 3) for h in loads.heads] == [0.25, 0.25, 0.5]
    assert any("share it" in note for note in loads.notes)
    by_weight = machine.head_loads(shared, 100, 2.0, segment_gives={1: 2.0, 2: 1.0})
    assert [round(h.share, 3) for h in by_weight.heads] == pytest.approx([1 / 3] * 3, abs=1e-3)
    with pytest.raises(MissingError, match="segment 2"):
        machine.head_loads(shared, 100, 2.0, segment_gives={1: 2.0})


def test_a_head_all_shut_carries_nothing_and_a_stream_all_shut_is_refused():
    made = outfit((2, 2))
    half = replace(made, runs=tuple(replace(r, shut=r.head == "A") for r in made.runs))
    loads = machine.head_loads(half, 100, 2.0)
    assert [h.letter for h in loads.heads] == ["B"]
    assert any("backs up" in note for note in loads.notes)
    with pytest.raises(RangeError, match="every run is shut"):
        machine.head_loads(replace(made, runs=tuple(replace(r, shut=True) for r in made.runs)), 100, 2.0)


def test_streams_are_loaded_one_at_a_time():
    made = outfit((8, 8), streams=("seed", "fertilizer"))
    with pytest.raises(MissingError, match="several streams"):
        machine.head_loads(made, 100, 2.0)
    assert [h.letter for h in machine.head_loads(made, 100, 2.0, stream="fertilizer").heads] == ["C", "D"]
    with pytest.raises(MissingError, match="no head is on"):
        machine.head_loads(made, 100, 2.0, stream="liquid")


def test_the_meters_work_with_the_width_typed_for_the_rate():
    made = outfit((8, 8), widths=Widths(rate_m=5.0))
    assert machine.head_loads(made, 100, 2.0).total_kg_s == pytest.approx(0.1)
    assert machine.head_loads(made, 100, 2.0, width_m=4.0).total_kg_s == pytest.approx(0.08)
    with pytest.raises(MissingError, match="width"):
        machine.head_loads(Outfit(key="o", name="o", heads=(Head(letter="A", outlets=8),)), 100, 2.0)
    with pytest.raises(MissingError, match="heads"):
        machine.head_loads(Outfit(key="o", name="o", rows=8, row_spacing_m=0.25), 100, 2.0)


def test_heads_without_written_runs_count_all_their_outlets():
    bare = replace(outfit((8, 8)), runs=())
    loads = machine.head_loads(bare, 100, 2.0)
    assert loads.open_runs == 16
    assert any("all their outlets open" in note for note in loads.notes)


# -- hoses ----------------------------------------------------------------------------------------------------------


def test_the_spread_of_hoses_names_both_ends_and_warns_of_levelling_them():
    spread = machine.hose_spread(outfit((4, 4)), air_speed_m_s=25)[1]
    assert (spread.letter, spread.shortest_run, spread.longest_run) == ("B", 5, 8)
    assert spread.late_s == pytest.approx(0.3 / 20)
    assert "like for like" in spread.note
    assert machine.hose_spread(replace(outfit(), runs=())) == ()


def test_hoses_without_a_length_are_counted_not_guessed():
    spread = machine.hose_spread(changed(outfit((4,)), 2, hose_m=None))[0]
    assert (spread.known, spread.unknown) == (3, 1)
    single = machine.hose_spread(replace(outfit((1,))))[0]
    assert single.cv is None
    with pytest.raises(RangeError, match="run 2"):
        machine.hose_spread(changed(outfit((4,)), 2, hose_m=0.0))


def test_a_plugged_primary_takes_four_minutes_to_fill():
    """64 mm x 10 m holds about 24 kg: common practice, no source; regression of the arithmetic."""
    load = machine.head_loads(outfit((8,) * 8, spacing=0.254), 230, 7.6 / 3.6).heads[0].solids_kg_s
    assert machine.hose_mass(10, 0.064, 750) == pytest.approx(24.1, abs=0.05)
    assert machine.plug_fill_time(10, 0.064, 750, load) / 60 == pytest.approx(4.1, abs=0.05)
    with pytest.raises(RangeError, match="flow_kg_s"):
        machine.plug_fill_time(10, 0.064, 750, 0.0)


# -- rows -----------------------------------------------------------------------------------------------------------


def test_one_plugged_run_costs_little_and_its_siblings_get_a_seventh_more():
    lost = machine.rows_affected(outfit((8, 8), spacing=0.254), run=11, pass_m=800)
    assert lost.openers == (11,)
    assert lost.area_pass_ha == pytest.approx(0.02, abs=0.001)
    assert lost.siblings == (9, 10, 12, 13, 14, 15, 16)
    assert lost.sibling_ratio == pytest.approx(8 / 7)
    assert not lost.backs_up


def test_a_plugged_head_of_eight_is_two_metres_and_backs_up():
    lost = machine.rows_affected(outfit((8,) * 8, spacing=0.254), head="C", pass_m=800)
    assert lost.openers == tuple(range(17, 25))
    assert lost.width_m == pytest.approx(2.03, abs=0.005)
    assert lost.area_pass_ha == pytest.approx(0.16, abs=0.005)
    assert lost.share == pytest.approx(1 / 8)
    assert lost.siblings == ()
    assert lost.sibling_ratio == 1.0
    assert lost.backs_up


def test_a_segment_that_does_not_turn_starves_its_heads_and_backs_nothing_up():
    made = outfit((6, 6, 6))
    shared = replace(made, heads=tuple(replace(h, segment=1 if h.letter != "C" else 2) for h in made.heads))
    lost = machine.rows_affected(shared, segment=1)
    assert lost.heads == ("A", "B")
    assert lost.rows == 12
    assert not lost.backs_up
    assert lost.area_pass_ha is None
    blocked = machine.rows_affected(shared, head="A")
    assert blocked.siblings == tuple(range(7, 13))
    assert blocked.sibling_ratio == pytest.approx(2.0)


def test_the_other_stream_still_reaches_those_openers():
    made = outfit((8, 8), streams=("seed", "fertilizer"))
    with pytest.raises(MissingError, match="several streams"):
        machine.rows_affected(made, run=3)
    lost = machine.rows_affected(made, run=3, stream="seed")
    assert lost.reached_by == ("fertilizer",)
    assert lost.share == pytest.approx(1 / 16)


def test_shut_runs_are_no_new_loss_and_no_siblings():
    made = changed(outfit((4, 4)), 2, shut=True)
    lost = machine.rows_affected(made, run=1)
    assert lost.siblings == (3, 4)
    assert lost.sibling_ratio == pytest.approx(3 / 2)
    assert machine.rows_affected(made, run=2).rows == 0


def test_a_head_whose_outlets_are_spread_over_the_tool_leaves_no_wide_gap():
    made = outfit((2, 2))
    mixed = replace(made, runs=tuple(replace(r, head="AB"[r.number % 2], outlet=(r.number + 1) // 2) for r in made.runs))
    lost = machine.rows_affected(mixed, head="A")
    assert lost.rows == 2
    assert lost.gap_m == pytest.approx(0.25)
    assert lost.width_m == pytest.approx(0.5)


def test_without_a_row_spacing_there_is_no_width():
    lost = machine.rows_affected(replace(outfit(), row_spacing_m=None), head="A", pass_m=800)
    assert (lost.width_m, lost.gap_m, lost.row_m_ha, lost.area_km_ha, lost.area_pass_ha) == (None,) * 5


@pytest.mark.parametrize("named", [{}, {"run": 1, "head": "A"}])
def test_just_one_thing_is_named(named):
    with pytest.raises(RangeError, match="one of"):
        machine.rows_affected(outfit(), **named)


@pytest.mark.parametrize("named", [{"run": 99}, {"head": "Z"}, {"segment": 9}])
def test_what_is_not_written_down_is_missing(named):
    with pytest.raises(MissingError):
        machine.rows_affected(outfit(), **named)


# -- the run map ----------------------------------------------------------------------------------------------------


def test_a_whole_map_holds_and_claims_no_more_than_that():
    found = machine.check_run_map(outfit((8, 8), streams=("seed", "fertilizer")))
    assert [f.state for f in found] == ["holds"]
    assert "16 openers, 32 runs, 4 heads" in found[0].claim
    assert "walk them" in found[0].not_claimed


def test_without_runs_nothing_can_be_told():
    found = machine.check_run_map(Outfit(key="o", name="o"))
    assert [f.state for f in found] == ["cannot-tell"]
    assert "Walk" in found[0].settle_by


@pytest.mark.parametrize(
    ("fault", "about"),
    [
        ({"head": "Z"}, "head-unknown"),
        ({"outlet": 9}, "outlet-beyond"),
        ({"outlet": 0}, "outlet-beyond"),
        ({"outlet": 2}, "outlet-twice"),
        ({"sensor": 5}, "sensor-twice"),
        ({"offset_m": 1.9}, "offset-order"),
        ({"number": 0}, "opener-number"),
    ],
)
def test_each_contradiction_is_found_and_names_the_run(fault, about):
    made = changed(outfit((8, 8)), 4, **fault)
    hit = [f for f in machine.check_run_map(made) if f.about == f"run-map:{about}"]
    assert len(hit) == 1
    assert hit[0].state == "does-not-hold"
    assert hit[0].settle_by
    assert any(s.startswith("run:") for s in hit[0].suspects[0])
    assert machine.check_run_map(made)[0].state == "does-not-hold"
    assert "holds" not in kinds(made)


@pytest.mark.parametrize(
    ("fault", "about", "state"),
    [
        ({"sensor": None}, "sensor-missing", "cannot-tell"),
        ({"hose_m": None}, "hose-missing", "cannot-tell"),
        ({"offset_m": -1.0}, "offset-spacing", "doubtful"),
        ({"shut": True}, "run-shut", "doubtful"),
        ({"number": 5}, "opener-twice", "doubtful"),
        ({"number": 5}, "opener-missing", "doubtful"),
    ],
)
def test_each_gap_and_oddity_is_found(fault, about, state):
    assert about in kinds(changed(outfit((8, 8)), 4, **fault), state)


def test_a_shut_run_tells_what_its_siblings_get():
    found = next(f for f in machine.check_run_map(changed(outfit((8, 8)), 4, shut=True)) if f.about == "run-map:run-shut")
    assert found.size is not None
    assert found.size.value == pytest.approx(1 / 7)
    assert "14% more" in found.claim


def test_heads_are_looked_at_as_a_whole():
    made = outfit((8, 8))
    a, b = made.heads
    assert "head-twice" in kinds(replace(made, heads=(a, a, b)), "does-not-hold")
    assert "stream-unknown" in kinds(replace(made, heads=(replace(a, stream="x"), b)), "does-not-hold")
    assert "segment-missing" in kinds(replace(made, heads=(replace(a, segment=None), b)), "cannot-tell")
    assert "segment-shared" in kinds(replace(made, heads=(replace(a, segment=2), b)), "doubtful")
    assert "outlet-bare" in kinds(replace(made, heads=(replace(a, outlets=9), b)), "cannot-tell")
    assert "rows" in kinds(replace(made, rows=15), "does-not-hold")
    assert "head-shut" in kinds(replace(made, runs=tuple(replace(r, shut=r.head == "A") for r in made.runs)), "doubtful")
    two = outfit((8, 8), streams=("seed", "fertilizer"))
    lost = (replace(two.heads[0], stream=None), *two.heads[1:])
    assert "stream-missing" in kinds(replace(two, heads=lost), "cannot-tell")


def test_a_segment_beyond_the_meter_is_found():
    bins = (Bin(letter="A", stream="seed", meter=Meter(segments=1)),)
    assert "segment-beyond" in kinds(outfit((8, 8), bins=bins), "does-not-hold")
    assert kinds(outfit((8, 8), bins=(Bin(letter="A", stream="seed", meter=Meter(segments=2)),))) == ["holds"]


def test_unequal_heads_are_doubtful_until_they_are_weighed():
    made = outfit((7, 6))
    found = machine.check_run_map(made)[0]
    assert (found.state, found.about) == ("doubtful", "run-map:head-balance")
    assert "17% more" in found.claim
    even = replace(made, heads=(replace(made.heads[0], caught_kg=0.7), replace(made.heads[1], caught_kg=0.6)))
    assert kinds(even) == ["holds"]
    off = replace(made, heads=(replace(made.heads[0], caught_kg=0.6), replace(made.heads[1], caught_kg=0.6)))
    assert kinds(off, "does-not-hold") == ["head-balance"]


def test_two_streams_that_put_an_opener_in_two_places_do_not_hold():
    made = changed(outfit((8, 8), streams=("seed", "fertilizer")), 4, offset_m=-0.9)
    assert "offset-two" in kinds(made, "does-not-hold")


def test_spacing_is_said_in_the_readers_units():
    made = changed(outfit((8, 8), spacing=0.254), 4, offset_m=-1.0)
    assert any("10.00 in" in f.claim for f in machine.check_run_map(made, profile="us"))
    assert any("254 mm" in f.claim for f in machine.check_run_map(made))
