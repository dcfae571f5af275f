"""Draft, power, fuel and money against print; closed forms and second ways beside them."""

from __future__ import annotations

import math
from functools import partial

from evenstand import machine
from evenstand.base.units import ACRE_M2, LB_KG, MILE_M, US_GALLON_L
from evenstand.machine.powering import DRIVES, Soil, Surface
from evenstand.verify.on_runs import each
from evenstand.verify.pairs import Independent, Pair

_HA_AC = ACRE_M2 / 1e4
_LBF_N = LB_KG * 9.80665
_HP_KW = 0.3048 * _LBF_N * 550 / 1000
_SURFACES: tuple[Surface, ...] = ("concrete", "firm", "tilled", "soft")
_TRANSFER = {
    "two-wheel": (".87", ".72", ".67", ".55"),
    "front-assist": (".87", ".77", ".73", ".65"),
    "four-wheel": (".88", ".78", ".75", ".70"),
    "tracks": (".88", ".79", ".80", ".78"),
}
_SLIP: tuple[tuple[Surface, str, str], ...] = (("concrete", "4", "8"), ("firm", "8", "10"), ("tilled", "11", "13"), ("soft", "14", "16"))
_PER_ROW = {
    "planter-mounted": "500", "planter-drawn": "900", "planter-drawn-fertilizer": "1550", "planter-no-till": "1820", "drill-narrow": "400",
    "drill-middle": "300", "drill-wide": "200",
}  # fmt: skip
_NO_TILL: tuple[tuple[Soil, str], ...] = (("fine", "1"), ("medium", ".96"), ("coarse", ".92"))


def _horsepower(pounds: float, mph: float) -> float:
    return machine.drawbar_power(pounds * _LBF_N, mph * MILE_M / 3600) / _HP_KW


def _need(surface: Surface) -> machine.PowerNeed:
    return machine.power_need(60_000, 2.0, drive="four-wheel", surface=surface, other_pto_kw=30.0, rated_pto_kw=250.0)


def _row_force(implement: str, soil: Soil = "fine") -> float:
    return machine.implement_draft(implement, 1, 2.0, soil=soil).force_n


_POWER = (
    Pair(
        function="machine.draft_force",
        case="chisel plough, 45 tools at 15 cm and 10 km/h, coefficients 91 and 5.4, soil 0.7",
        published="68512.5",
        unit="N",
        compute=lambda: machine.draft_force(0.7, 91, 10 / 3.6, 45, b_n=5.4, depth_cm=15),
        source="field-solie-problems",
        where="draft problem",
    ),
    Pair(
        function="machine.drawbar_power",
        case="68,512.5 N at 10 km/h",
        published="113",
        unit="kW",
        compute=lambda: machine.drawbar_power(68512.5, 10 / 3.6),
        source="field-solie-problems",
        where="draft problem, power",
        trap=True,
        instead="190.3",
        why="misprint: 68.5125 kN at 10 km/h is 190.3 kW",
    ),
    Pair(
        function="machine.drawbar_power",
        case="constants of kN km/h and of lb mph",
        unit="-",
        cells=(
            ("kN km/h in a kilowatt", "3.6", lambda: 1 / machine.drawbar_power(1000, 1 / 3.6)),
            ("lb mph in a horsepower", "375", lambda: 1 / _horsepower(1, 1)),
        ),
        source="drawbar-lecture",
        where="drawbar power",
    ),
    Pair(
        function="machine.drawbar_power",
        case="constant of width x mph x draft per foot x soil factor",
        published="375",
        unit="-",
        compute=lambda: 40 * 5 * 300 / _horsepower(40 * 300, 5),
        source="isu-a3-26-2007",
        where="PTO power needed",
    ),
    Pair(
        function="machine.drawbar_share",
        case="four drives on four surfaces, 16 cells",
        unit="-",
        cells=tuple(
            (f"{drive}, {surface}", text, partial(machine.drawbar_share, drive, surface))
            for drive in DRIVES
            for surface, text in zip(_SURFACES, _TRANSFER[drive], strict=True)
        ),
        kind="table",
        exact=True,
        source="arizona-machinery",
        where="power transfer",
    ),
    Pair(
        function="machine.power_need",
        case="PTO over flywheel power, and best slip on four surfaces",
        unit="%",
        cells=(
            ("PTO over flywheel", "90", lambda: 100 * _need("firm").pto_kw / _need("firm").engine_kw),
            *((f"{s}, from", low, partial(lambda s: 100 * _need(s).best_slip_low, s)) for s, low, _ in _SLIP),
            *((f"{s}, to", high, partial(lambda s: 100 * _need(s).best_slip_high, s)) for s, _, high in _SLIP),
        ),
        kind="table",
        exact=True,
        source="arizona-machinery",
        where="power transfer and slip",
    ),
    Pair(
        function="machine.implement_draft",
        case="seven planters and drills, a row each",
        unit="N",
        cells=tuple((name, text, partial(_row_force, name)) for name, text in _PER_ROW.items()),
        kind="table",
        exact=True,
        source="d497-transcription",
        where="draft parameters",
    ),
    Pair(
        function="machine.implement_draft",
        case="no-till planter on three textures, over the first",
        unit="-",
        cells=tuple((soil, text, partial(lambda s: _row_force("planter-no-till", s) / 1820, soil)) for soil, text in _NO_TILL),
        kind="table",
        exact=True,
        source="d497-transcription",
        where="soil factors",
    ),
    Pair(
        function="machine.opener_draft_ratio",
        case="one km/h faster, one cm deeper, heavy clay for sandy loam",
        unit="%",
        cells=(
            ("1 km/h", "4", lambda: 100 * (machine.opener_draft_ratio(speed_change_m_s=1 / 3.6).ratio - 1)),
            ("1 cm", "20", lambda: 100 * (machine.opener_draft_ratio(depth_change_m=0.01).ratio - 1)),
            ("heavy clay", "24", lambda: 100 * (machine.opener_draft_ratio(soil="to-heavy-clay").ratio - 1)),
        ),
        kind="table",
        source="collins-fowler-1995",
        where="abstract",
    ),
)
_FUEL = (
    Pair(
        function="machine.average_diesel",
        case="0.223 L/kWh in US units",
        published="0.044",
        unit="gal/hp-h",
        compute=lambda: machine.average_diesel(_HP_KW) / US_GALLON_L,
        source="grisso-442-073",
        where="average fuel use",
    ),
    Pair(
        function="machine.fuel_use",
        case="how far field figures may vary either way",
        unit="%",
        cells=(
            ("up", "35", lambda: 100 * (_fuel().high_l_ha / _fuel().l_ha - 1)),
            ("down", "35", lambda: 100 * (1 - _fuel().low_l_ha / _fuel().l_ha)),
        ),
        source="isu-a3-27",
        where="note",
    ),
)


def _fuel() -> machine.FuelUse:
    """100 of 200 kW at 10 ha/h, a quarter of an hour at a tenth of the load for each hour of work."""
    return machine.fuel_use(100, 200, 10.0, edition="d497-7", other_h=0.25, other_load=0.1)


_MONEY = (
    Pair(
        function="machine.salvage_value",
        case="23 % of a list price of 150,000",
        published="34500",
        unit="USD",
        compute=lambda: machine.salvage_value(150_000, 0.23),
        source="isu-a3-29",
        where="worked example",
    ),
)


def _repaid() -> float:
    """One unit borrowed at 8 %, repaid evenly over 15 years: the debt left after the last payment."""
    debt = 1.0
    for _ in range(15):
        debt = debt * 1.08 - machine.capital_recovery(0.08, 15)
    return 1.0 + debt


def _owned() -> float:
    """What is owed at the end if owning is paid yearly and the machine then sold: nothing."""
    debt = 130_000.0
    for _ in range(15):
        debt = debt * 1.08 - machine.owning_cost(130_000, 34_500, 0.08, 15)
    return debt


_CUSTOM = (
    ("no-till drilling of soybean 2023", 23.50, 13.0, 27.50), ("small-grain drilling 2023", 17.70, 10.0, 20.0),
    ("no-till planting 2023", 27.10, None, None), ("planting 2024", 25.25, None, None),
    ("no-till drilling of soybean 2024", 21.40, None, None),
    ("small-grain seeding with fertilizer 2020", 17.82, 7.0, 30.0),
)  # fmt: skip


def _hectare() -> machine.HectareCost:
    return machine.hectare_cost(
        2000.0, capacity_ha_h=10.0, fuel_l_ha=6.0, fuel_price_l=1.5, wage_h=40.0, owning_year=60_000.0, repair_year=15_000.0, other_ha=2.0
    )


def _d497_7(load: float) -> float:
    return 0.22 * load + 0.096


PAIRS: tuple[Pair, ...] = (*_POWER, *_FUEL, *_MONEY)

INDEPENDENT: tuple[Independent, ...] = (
    *each(
        "machine.draft_force",
        "with a part by the square of the speed",
        lambda: machine.draft_force(1.0, 652, 2.0, 2.0, c_n=5.1, depth_cm=20),
        ("force", float, (652 + 5.1 * 7.2**2) * 2 * 20),
    ),
    *each(
        "machine.implement_draft",
        "field cultivator, 30 tools at 10 cm and 9 km/h on medium soil",
        lambda: machine.implement_draft("cultivator-secondary", 30, 2.5, soil="medium", depth_m=0.10),
        ("force", lambda d: d.force_n, 0.85 * (32 + 1.9 * 9) * 30 * 10),
        ("low", lambda d: d.low_n, 0.75 * 0.85 * (32 + 1.9 * 9) * 300),
        ("high", lambda d: d.high_n, 1.25 * 0.85 * (32 + 1.9 * 9) * 300),
    ),
    *each(
        "machine.opener_draft_ratio",
        "two km/h faster and 1 cm deeper",
        lambda: machine.opener_draft_ratio(speed_change_m_s=2 / 3.6, depth_change_m=0.01),
        ("added up", lambda r: r.low, 1.08 * 1.20),
        ("compounded", lambda r: r.high, 1.04**2 * 1.20),
        ("middle", lambda r: r.ratio, (1.08 + 1.04**2) / 2 * 1.20),
    ),
    *each(
        "machine.power_need",
        "60 kN at 2 m/s on firm ground with 30 kW for the fan",
        lambda: _need("firm"),
        ("drawbar", lambda p: p.drawbar_kw, 120.0),
        ("PTO", lambda p: p.pto_kw, 120 / 0.78 + 30),
        ("engine", lambda p: p.engine_kw, (120 / 0.78 + 30) / 0.90),
        ("load", lambda p: p.load, (120 / 0.78 + 30) / 250),
        ("transfer", lambda p: p.drawbar_share, 0.78),
    ),
    *each(
        "machine.published_power",
        "20 m, 60 rows",
        lambda: machine.published_power(width_m=20.0, rows=60),
        ("per metre, low", lambda p: p[0].low_kw, 400.0),
        ("per metre, high", lambda p: p[0].high_kw, 700.0),
        ("per row", lambda p: p[1].low_kw, 120.0),
        ("per row, high end", lambda p: p[1].high_kw, 120.0),
        ("ammonia, 5.5 hp/ft", lambda p: p[2].low_kw, 5.5 * 0.7456998715822702 * 20 / 0.3048),
        ("ammonia, high end", lambda p: p[2].high_kw, 5.5 * 0.7456998715822702 * 20 / 0.3048),
        ("cart", lambda p: p[3].low_kw, 40 * 0.7456998715822702),
        ("cart, high end", lambda p: p[3].high_kw, 40 * 0.7456998715822702),
    ),
    *each(
        "machine.diesel_d497_4",
        "half load against the US form, whose coefficients are rounded",
        lambda: machine.diesel_d497_4(0.6),
        ("L/h per kW", float, lambda: (0.52 * 0.6 + 0.77 - 0.04 * math.sqrt(738 * 0.6 + 173)) * 0.6 * US_GALLON_L / _HP_KW),
        how="second form, rounded: within 0.7 %",
        tolerance=0.0025,
    ),
    *each(
        "machine.diesel_us_rounded",
        "0.6 of the load by hand",
        lambda: machine.diesel_us_rounded(0.6),
        ("L/h per kW", float, (0.52 * 0.6 + 0.77 - 0.04 * math.sqrt(738 * 0.6 + 173)) * 0.6 * 3.785411784 / 0.7456998715822702),
    ),
    *each(
        "machine.diesel_d497_7",
        "full load at four fifths of the speed",
        lambda: machine.diesel_d497_7(1.0, throttle=0.8),
        ("L/h per kW", float, 0.316 * (1 - 0.2 * 0.427)),
    ),
    *each(
        "machine.fuel_use",
        "100 of 200 kW at 10 ha/h, a quarter of an hour at a tenth of the load besides",
        _fuel,
        ("an hour of work", lambda u: u.l_h, 200 * _d497_7(0.5)),
        ("a hectare", lambda u: u.l_ha, 20 * (_d497_7(0.5) + 0.25 * _d497_7(0.1))),
        ("low", lambda u: u.low_l_ha, 13 * (_d497_7(0.5) + 0.25 * _d497_7(0.1))),
        ("high", lambda u: u.high_l_ha, 27 * (_d497_7(0.5) + 0.25 * _d497_7(0.1))),
    ),
    *each(
        "machine.published_fuel",
        "0.52, 1.35 and 0.65 US gallons an acre",
        lambda: machine.published_fuel(),
        ("planting", lambda f: f[0].l_ha, 0.52 * US_GALLON_L / _HA_AC),
        ("no-till system", lambda f: f[1].l_ha, 1.35 * US_GALLON_L / _HA_AC),
        ("ammonia", lambda f: f[2].l_ha, 0.65 * US_GALLON_L / _HA_AC),
    ),
    *each("machine.capital_recovery", "a debt repaid", _repaid, ("nothing is left", float, 1.0), how="second way: year by year"),
    *each(
        "machine.owning_cost",
        "130,000 at 8 % over 15 years, then sold",
        _owned,
        ("what is owed then", float, 34_500.0),
        how="second way: year by year",
        tolerance=1e-9,
    ),
    *each(
        "machine.repair_to_date",
        "twice the thousand hours",
        lambda: machine.repair_to_date(100_000, 2000, 0.32, 2.1),
        ("cost", float, 32_000 * 2**2.1),
    ),
    *each(
        "machine.repair_of_year",
        "from 1,000 to 2,000 h",
        lambda: machine.repair_of_year(100_000, 1000, 1000),
        ("cost", float, 32_000 * (2**2.1 - 1)),
    ),
    *each(
        "machine.hectare_cost",
        "2,000 ha a year at 10 ha/h",
        _hectare,
        ("fuel", lambda c: c.fuel, 9.0),
        ("labour", lambda c: c.labour, 4.0),
        ("owning", lambda c: c.owning, 30.0),
        ("repair", lambda c: c.repair, 7.5),
        ("other", lambda c: c.other, 2.0),
        ("total", lambda c: c.total, 52.5),
    ),
    *each(
        "machine.custom_rates",
        "by survey",
        lambda: machine.custom_rates(),
        *((f"{key}, mean", lambda r, i=i: r[i].mean_ha, mean / _HA_AC) for i, (key, mean, _, _) in enumerate(_CUSTOM)),
        *((f"{key}, low", lambda r, i=i: r[i].low_ha, low / _HA_AC) for i, (key, _, low, _) in enumerate(_CUSTOM) if low is not None),
        *((f"{key}, high", lambda r, i=i: r[i].high_ha, high / _HA_AC) for i, (key, _, _, high) in enumerate(_CUSTOM) if high is not None),
    ),
    *each("machine.average_diesel", "100 kW", lambda: machine.average_diesel(100.0), ("an hour", float, 22.3)),
)
