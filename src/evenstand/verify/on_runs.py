"""Heads, hoses, rows, lags and switching: no figure was found in print, so closed forms, second ways and libraries only."""

from __future__ import annotations

import math
import statistics
from collections.abc import Callable
from functools import partial
from typing import Any

from evenstand import machine
from evenstand.base.estimate import Est
from evenstand.model import Head, Outfit, Run, Stream
from evenstand.verify.pairs import Independent, Pair

PAIRS: tuple[Pair, ...] = ()

_SPEED = 2.0
_HOSES = (4.0, 5.0, 6.0, 5.0)


def _outfit(*, shared: bool = False, shut: tuple[int, ...] = ()) -> Outfit:
    """Seven openers 0.25 m apart: head A with four outlets, head B with three, one stream."""
    runs = []
    for number in range(1, 8):
        letter, outlet = ("A", number) if number <= 4 else ("B", number - 4)
        hose = _HOSES[number - 1] if number <= 4 else None
        runs.append(Run(number=number, head=letter, outlet=outlet, offset_m=0.25 * (number - 4), hose_m=hose, shut=number in shut))
    heads = (Head(letter="A", outlets=4, stream="s", segment=1), Head(letter="B", outlets=3, stream="s", segment=1 if shared else 2))
    return Outfit(key="o", name="o", rows=7, row_spacing_m=0.25, streams=(Stream(key="s"),), heads=heads, runs=tuple(runs))


def _loads() -> machine.StreamLoad:
    """100 kg/ha at 2 m/s over 1.75 m is 0.035 kg/s; head A's segment gives 0.6 of it; 0.05 kg/s of air on each primary."""
    return machine.head_loads(_outfit(), 100.0, _SPEED, segment_gives={1: 3.0, 2: 2.0}, air_kg_s=0.10)


def _spread() -> machine.HoseSpread:
    return machine.hose_spread(_outfit(), air_speed_m_s=25.0)[0]


def _run_dead() -> machine.Affected:
    return machine.rows_affected(_outfit(), run=2, pass_m=800.0)


def _head_dead() -> machine.Affected:
    return machine.rows_affected(_outfit(shared=True), head="A", pass_m=800.0)


_FLAGS = (8.0, 9.0, 10.0)


def _flags() -> machine.Lag:
    return machine.flag_test(_FLAGS, _SPEED)


def _t_reach() -> float:
    from scipy.stats import t

    return float(t.ppf(0.975, 2)) * statistics.stdev(d / _SPEED for d in _FLAGS) / math.sqrt(3)


def _on() -> machine.SwitchPoint:
    return machine.switch_point(_flags(), 2.5, ramp_s=1.0)


def _off() -> machine.SwitchPoint:
    return machine.switch_point(machine.flag_test([12.0, 14.0], _SPEED, switch="off"), 2.5)


def _cost() -> machine.StartStopCost:
    return machine.start_stop_cost(
        _on(), _off(), 16.0, starts=40, stops=30, rates_kg_ha={"wheat": 120.0, "urea": 100.0}, prices_kg={"wheat": 0.5, "urea": 0.8},
        margin_ha=400.0,
    )  # fmt: skip


def each(
    function: str, case: str, make: Callable[[], Any], *values: tuple[str, Callable[[Any], float], float | Callable[[], float]],
    how: str = "closed form", tolerance: float = 1e-9,
) -> tuple[Independent, ...]:  # fmt: skip
    """One check for each value of a result."""

    def both(get: Callable[[Any], float], other: float | Callable[[], float]) -> tuple[float, float]:
        return float(get(make())), float(other() if callable(other) else other)

    return tuple(
        Independent(function=function, case=f"{case}: {name}", how=how, tolerance=tolerance, compute=partial(both, get, other))
        for name, get, other in values
    )


def _rise() -> float:
    """Ground missed while flow rises evenly over one second after 4.5 s of nothing, at 2.5 m/s, summed in small steps. [m]"""
    step, missed = 1e-4, 0.0
    for i in range(60_000):
        t = (i + 0.5) * step
        missed += (1.0 - min(max(t - 4.5, 0.0), 1.0)) * 2.5 * step
    return missed


INDEPENDENT: tuple[Independent, ...] = (
    *each(
        "machine.head_loads",
        "heads of four and three outlets, segments three to two",
        _loads,
        ("product of the stream", lambda s: s.total_kg_s, 0.035),
        ("open runs", lambda s: s.open_runs, 7),
        ("rows of B over rows of A: (2/3) / (3/4) upside down", lambda s: s.worst, 9 / 8 - 1),
        ("highest loading", lambda s: s.loading, 0.42),
        ("share of A", lambda s: s.heads[0].share, 0.6),
        ("share of B", lambda s: s.heads[1].share, 0.4),
        ("rows of A", lambda s: s.heads[0].row_ratio, 0.6 * 7 / 4),
        ("rows of B", lambda s: s.heads[1].row_ratio, 0.4 * 7 / 3),
        ("primary of A", lambda s: s.heads[0].solids_kg_s, 0.021),
        ("primary of B", lambda s: s.heads[1].solids_kg_s, 0.014),
        ("runs of A", lambda s: s.heads[0].run_kg_s, 0.021 / 4),
        ("runs of B", lambda s: s.heads[1].run_kg_s, 0.014 / 3),
        ("air of A", lambda s: s.heads[0].air_kg_s, 0.05),
        ("air of B", lambda s: s.heads[1].air_kg_s, 0.05),
        ("loading of A", lambda s: s.heads[0].loading, 0.42),
        ("loading of B", lambda s: s.heads[1].loading, 0.28),
        ("one of four shut", lambda s: s.heads[0].when_one_shut, 1 / 3),
        ("one of three shut", lambda s: s.heads[1].when_one_shut, 1 / 2),
        ("outlets", lambda s: s.heads[0].outlets + s.heads[1].outlets / 10, 4.3),
        ("open runs of each", lambda s: s.heads[0].open_runs + s.heads[1].open_runs / 10, 4.3),
        ("segments", lambda s: s.heads[0].segment + s.heads[1].segment / 10, 1.2),
    ),
    *each(
        "machine.hose_spread",
        "hoses of 4, 5, 6 and 5 m",
        _spread,
        ("longest", lambda h: h.longest_m, 6.0),
        ("shortest", lambda h: h.shortest_m, 4.0),
        ("mean", lambda h: h.mean_m, lambda: statistics.mean(_HOSES)),
        ("range over mean", lambda h: h.spread, 0.4),
        ("coefficient of variation by the statistics module", lambda h: h.cv, lambda: statistics.stdev(_HOSES) / statistics.mean(_HOSES)),
        ("which is longest", lambda h: h.longest_run, 3),
        ("which is shortest", lambda h: h.shortest_run, 1),
        ("known lengths", lambda h: h.known, 4),
        ("2 m more at 20 m/s", lambda h: h.late_s, 0.1),
    ),
    *each(
        "machine.rows_affected",
        "one run of four plugged, 0.25 m rows, passes of 800 m",
        _run_dead,
        ("rows", lambda a: a.rows, 1),
        ("opener", lambda a: a.openers[0], 2),
        ("share", lambda a: a.share, 1 / 7),
        ("width", lambda a: a.width_m, 0.25),
        ("widest gap", lambda a: a.gap_m, 0.25),
        ("metres of row per hectare", lambda a: a.row_m_ha, 10_000 / 1.75),
        ("hectares per kilometre", lambda a: a.area_km_ha, 0.025),
        ("hectares per pass", lambda a: a.area_pass_ha, 0.02),
        ("siblings get four thirds", lambda a: a.sibling_ratio, 4 / 3),
        ("siblings", lambda a: sum(10**i * n for i, n in enumerate(a.siblings)), 431),
    ),
    *each(
        "machine.rows_affected",
        "head of four plugged that shares its segment with three",
        _head_dead,
        ("rows", lambda a: a.rows, 4),
        ("openers", lambda a: sum(10**i * n for i, n in enumerate(a.openers)), 4321),
        ("width", lambda a: a.width_m, 1.0),
        ("the other head gets seven thirds", lambda a: a.sibling_ratio, 7 / 3),
        ("hectares per pass", lambda a: a.area_pass_ha, 0.08),
    ),
    *each("machine.open_runs", "seven openers, one of head A shut", lambda: machine.open_runs(_outfit(shut=(2,)), "A"), ("open", float, 3)),
    *each(
        "machine.hose_mass",
        "10 m of 64 mm at 750 kg/m³: a ring of shells summed",
        lambda: machine.hose_mass(10, 0.064, 750),
        ("mass", float, lambda: sum(2 * math.pi * (i + 0.5) * 3.2e-5 * 3.2e-5 for i in range(1000)) * 10 * 750),
    ),
    *each(
        "machine.plug_fill_time",
        "held mass over flow",
        lambda: machine.plug_fill_time(10, 0.064, 750, 0.1),
        ("time", float, lambda: 0.032**2 * math.pi * 10 * 750 / 0.1),
    ),
    *each(
        "machine.flag_test",
        "flags at 8, 9 and 10 m, 2 m/s",
        _flags,
        ("mean", lambda g: g.lag_s, 4.5),
        ("spread of one", lambda g: g.spread_s, 0.5),
        ("sd of the mean", lambda g: g.sd_s, 0.5 / math.sqrt(3)),
        ("low end by SciPy's t", lambda g: g.low_s, lambda: 4.5 - _t_reach()),
        ("high end by SciPy's t", lambda g: g.high_s, lambda: 4.5 + _t_reach()),
        ("flags", lambda g: g.flags, 3),
    ),
    *each(
        "machine.lag_from_strip",
        "9 m, give or take 0.3, at 2 m/s, give or take 0.04",
        lambda: machine.lag_from_strip(Est(value=9.0, sd=0.3), Est(value=2.0, sd=0.04)),
        ("lag", lambda g: g.lag_s, 4.5),
        ("sd", lambda g: g.sd_s, lambda: 4.5 * math.sqrt((0.3 / 9) ** 2 + 0.02**2)),
        ("low", lambda g: g.low_s, lambda: 4.5 - 9 * math.sqrt((0.3 / 9) ** 2 + 0.02**2)),
        ("high", lambda g: g.high_s, lambda: 4.5 + 9 * math.sqrt((0.3 / 9) ** 2 + 0.02**2)),
        ("flags", lambda g: g.flags, 1),
    ),
    *each(
        "machine.lag_from_hoses",
        "19 m of hose in air of 25 m/s, give or take 2.5",
        lambda: machine.lag_from_hoses(19.0, Est(value=25.0, sd=2.5)),
        ("fast end: 19 / (30 x 0.95)", lambda g: g.low_s, 2 / 3),
        ("slow end: 19 / (20 x 0.70)", lambda g: g.high_s, 19 / 14),
        ("middle", lambda g: g.lag_s, (2 / 3 + 19 / 14) / 2),
        ("a quarter of the range", lambda g: g.sd_s, (19 / 14 - 2 / 3) / 4),
    ),
    *each(
        "machine.believed_lag",
        "the measured one wins",
        lambda: machine.believed_lag(_flags(), machine.lag_from_hoses(19.0, 25.0), practice=machine.usual_lag("on")),
        ("lag", lambda g: g.lag_s, 4.5),
        ("sd", lambda g: g.sd_s, 0.5 / math.sqrt(3)),
        ("low", lambda g: g.low_s, lambda: 4.5 - _t_reach()),
        ("high", lambda g: g.high_s, lambda: 4.5 + _t_reach()),
        ("spread", lambda g: g.spread_s, 0.5),
        ("flags", lambda g: g.flags, 3),
    ),
    *each(
        "machine.missed_strip",
        "4.5 s of nothing, then a second of even rise, summed in steps",
        lambda: machine.missed_strip(4.5, 2.5, ramp_s=1.0),
        ("strip", float, _rise),
        how="second way: summed",
        tolerance=1e-6,
    ),
    *each(
        "machine.switch_point",
        "on: flags of 4.5 s and a ramp of 1 s at 2.5 m/s",
        _on,
        ("before the line", lambda p: p.before_m, 12.5),
        ("in time", lambda p: p.before_s, 5.0),
        ("speed", lambda p: p.speed_m_s, 2.5),
        ("at the line", lambda p: p.at_line_m, 12.5),
        ("low", lambda p: p.low_m, lambda: 2.5 * (5.0 - _t_reach())),
        ("high", lambda p: p.high_m, lambda: 2.5 * (5.0 + _t_reach())),
        ("mean miss of a normal spread of 0.5 s", lambda p: p.left_m, lambda: 1.25 * math.sqrt(2 / math.pi)),
    ),
    *each(
        "machine.start_stop_cost",
        "12.5 m skipped at 40 starts, 16.25 m doubled at 30 stops, 16 m wide",
        _cost,
        ("strip at a start", lambda c: c.skip_m, 12.5),
        ("strip at a stop", lambda c: c.double_m, 16.25),
        ("area of a start", lambda c: c.skip_start_ha, 0.02),
        ("area of a stop", lambda c: c.double_stop_ha, 0.026),
        ("skipped", lambda c: c.skip_ha, 0.8),
        ("doubled", lambda c: c.double_ha, 0.78),
        ("wheat laid twice", lambda c: c.wasted_kg["wheat"], 93.6),
        ("urea laid twice", lambda c: c.wasted_kg["urea"], 78.0),
        ("price of both", lambda c: c.double_money, 46.8 + 62.4),
        ("margin missed", lambda c: c.skip_money, 320.0),
        ("together", lambda c: c.money, 429.2),
    ),
    *each(
        "machine.usual_lag",
        "3 to 6 s of common practice",
        lambda: machine.usual_lag("on"),
        ("middle", lambda g: g.lag_s, 4.5),
        ("low", lambda g: g.low_s, 3.0),
        ("high", lambda g: g.high_s, 6.0),
        ("a quarter of the range", lambda g: g.sd_s, 0.75),
    ),
    *each(
        "machine.written_head",
        "head B",
        lambda: machine.written_head(_outfit(), "B"),
        ("outlets", lambda h: h.outlets, 3),
        ("segment", lambda h: h.segment, 2),
    ),
    *each(
        "machine.check_run_map",
        "run 2 of four shut beside a head of three",
        lambda: machine.check_run_map(_outfit(shut=(2,))),
        ("its siblings get a third more", lambda f: f[0].size.value, 1 / 3),
        ("run named", lambda f: f[0].place.runs[0], 2),
        ("hoses to tape", lambda f: sum(10**i * n for i, n in enumerate(f[1].place.runs)), 765),
    ),
    *each(
        "machine.check_run_map",
        "heads of four and three",
        lambda: machine.check_run_map(_outfit()),
        ("rows of the smaller head get a third more", lambda f: f[0].size.value, 1 / 3),
    ),
)
