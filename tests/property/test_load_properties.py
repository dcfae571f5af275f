"""Loads: what is put in is found, clean paper is let be, mass in is mass out."""

from __future__ import annotations

import math

import pytest
from benchmarks.loads import KINDS, judged, season, spoiled
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from evenstand.check.loading import judge_loads
from evenstand.supply import load_balance

FEW = settings(max_examples=8, deadline=None, suppress_health_check=[HealthCheck.filter_too_much])


@FEW
@given(st.integers(0, 9_999))
def test_mass_in_is_mass_out_at_every_place(seed):
    paper = season(seed)
    made = load_balance("p", paper.loads, paper.fills, sown=paper.sown, in_bins=paper.in_bins)
    balances, *_ = made.moved.arrays()
    assert abs(balances @ made.portions.values).max() < 1e-6 * made.portions.values.max()
    assert made.portions.values.min() >= 0
    came = sum(f.held.value_kg for f in made.tickets)
    gone = sum(p.span.value_kg for t in made.tickets for p in t.parts)
    assert gone == pytest.approx(came, rel=1e-3)  # rests of next to nothing are not listed
    assert all(p.span.low_kg <= p.span.value_kg <= p.span.high_kg for t in made.tickets for p in t.parts)


@FEW
@given(st.integers(0, 9_999), st.sampled_from(KINDS))
def test_what_is_put_in_is_found_where_it_could_be_seen_and_never_taken_for_something_else(seed, kind):
    paper = spoiled(season(seed), seed, kind)
    assume(paper is not None)
    verdict = judge_loads("p", paper.loads, paper.fills, sown=paper.sown, in_bins=paper.in_bins)
    clean = season(seed)
    before = judge_loads("p", clean.loads, clean.fills, sown=clean.sown, in_bins=clean.in_bins)
    assume(not before.found)
    seen = verdict.told and verdict.chi2 - before.chi2 > 30 and not math.isnan(before.p) and before.p > 0.05
    if seen:
        assert judged(paper) in ("right", "in class")


@pytest.mark.slow
def test_clean_paper_is_seldom_accused():
    accused = [seed for seed in range(60_000, 60_200) if judged(season(seed)) != "silent"]
    assert len(accused) <= 2
