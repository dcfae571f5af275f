"""Things of the model with every field filled. Nothing here starts a thread, so that a process which has them may fork."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import numpy as np

from evenstand.base.clock import FixedClock
from evenstand.base.estimate import Est
from evenstand.book import (
    CallNote,
    CatchRecord,
)
from evenstand.model import (
    Ask,
    Bin,
    Boundary,
    Costs,
    FanProof,
    Fill,
    FlagTest,
    Frame,
    Hazard,
    Head,
    Job,
    Load,
    Lot,
    Meter,
    MeterFactor,
    Order,
    Outfit,
    Polygon,
    Product,
    PulseTest,
    Reading,
    Ring,
    Run,
    Section,
    SetAside,
    Stream,
    Trail,
    Weather,
    Widths,
)

AT = "2027-05-04T11:20:00.000Z"
LATER = "2027-05-04T13:05:30.250Z"
FRAME = Frame(lon_deg=-104.6, lat_deg=50.45, height_m=577.0)


def clock() -> FixedClock:
    """Noon of a day in May."""
    return FixedClock(datetime(2027, 5, 4, 12, 0, tzinfo=UTC))


def est(value: float, source: str = "tape") -> Est:
    """An estimate with a spread."""
    return Est(value=value, sd=0.01 * abs(value), basis="measured", source=source)


def square(x: float, y: float, side: float) -> Ring:
    """A closed square, counter-clockwise. [m]"""
    return ((x, y), (x + side, y), (x + side, y + side), (x, y + side), (x, y))


def hole(x: float, y: float, side: float) -> Ring:
    """A closed square, clockwise. [m]"""
    return tuple(reversed(square(x, y, side)))


OUTFIT = Outfit(
    key="big-drill",
    name="Big drill",
    drive="ground",
    speed_source="wheel",
    rows=64,
    row_spacing_m=0.254,
    spread_m=0.05,
    opener="knife",
    widths=Widths(true_m=est(16.256), rate_m=16.26, guidance_m=16.15),
    bins=(
        Bin(
            letter="B",
            label="urea",
            position="front",
            capacity_m3=est(6.2),
            fill_share=0.93,
            stream="side",
            meter=Meter(
                roller="coarse", setting="gear 3", segments=8, feeding_m=16.0, litres_turn=est(1.6), steady_low_turns_s=0.07,
                steady_high_turns_s=1.0, flutes=24,
            ),
            low_light_kg=est(150.0),
            has_scale=True,
        ),
        Bin(letter="A"),
    ),
    streams=(Stream(key="side", placement="side-band", label="black hoses"), Stream(key="seed")),
    heads=(Head(letter="C", outlets=8, stream="side", segment=3, primary_m=9.5, caught_kg=0.61), Head(letter="A", outlets=7)),
    runs=(
        Run(number=1, head="C", outlet=4, offset_m=-8.001, rank=2, hose_m=3.1, sensor=17, shut=True),
        Run(number=2, head="A", outlet=1, offset_m=0.1),
    ),
    sections=(Section(number=1, left_m=-8.128, right_m=0.0), Section(number=2, left_m=0.0, right_m=8.128)),
    sensor_streams=("seed", "side"),
    speed_m_s=2.1,
    pulse_m=est(0.1925),
    wheel_m=4.62,
    turn_radius_m=14.0,
    antenna_ahead_m=11.5,
    hitch_m=7.4,
    fan_turns_s=est(71.6),
    overlap_low=0.02,
    overlap_high=0.07,
    stand_in_m_s=2.0,
    fan_proof=FanProof(
        temperature_c=9.0, relative_humidity=0.6, pressure_pa=94_800.0, height_m=577.0, crop="wheat", load_kg_s=0.9, at="2027-05-02"
    ),
    flag=FlagTest(on_m=est(9.0), off_m=est(12.0), speed_m_s=2.0, at="2027-05-02"),
    pulses=(PulseTest(load="full", soil="stubble", pulse_m=est(0.191), at="2027-05-02"), PulseTest(load="empty", soil="yard", pulse_m=est(0.195))),
    costs=Costs(fuel_l_ha=5.5, fuel_price_l=1.4, wage_h=210.0),
)  # fmt: skip
WHEAT = Product(key="wheat", name="Wheat", kind="seed", crop="wheat", density_kg_m3=est(780.0), price_kg=0.61, form="treated")
UREA = Product(key="urea", name="Urea 46-0-0", kind="fertilizer", analysis={"N": 0.46, "S": 0.0})
LOT = Lot(
    key="lot-1", product="wheat", label="Bin 7 \N{EN DASH} \N{LATIN SMALL LETTER L WITH STROKE}", tkw_g=est(38.0), germination=est(0.96),
    density_kg_m3=est(775.0), treatment="fungicide", treated_at="2027-04-20", sow_within_h=72.0,
)  # fmt: skip
FACTOR = MeterFactor(
    outfit="big-drill", bin="B", product="urea", lot="", setting="gear 3", kg_turn=est(1.18, "three catches"), at=AT, how="catch"
)
BOUNDARY = Boundary(
    key="north",
    name="North quarter",
    frame=FRAME,
    polygons=(
        Polygon(outside=square(-400.0, -400.0, 800.0), holes=(hole(-50.0, -50.0, 60.0), hole(100.1, 100.2, 33.3))),
        Polygon(outside=square(500.0, -400.0, 200.0)),
    ),
    area_m2=675_291.11,
    geodesic_m2=675_300.2,
    obstacles=(Polygon(outside=square(200.0, -200.0, 12.345678901234567)),),
    entries=((-400.0, 0.1), (400.0, 0.3)),
    fill_points=((-390.0, 5.0),),
    hazards=(Hazard(kind="line", note="16 m, folded 5.6 m", x_m=10.0, y_m=-20.0),),
    crs="EPSG:26913",
    file_hash="ab" * 32,
    repairs=("a ring crossed itself and was split",),
)
JOB = Job(
    key="wheat-north",
    crop="wheat",
    season=2027,
    field_key="north",
    outfit="big-drill",
    area_ha=62.0,
    asks=(
        Ask(product="wheat", rate_kg_ha=120.0, second_rate_kg_ha=132.0, lot="lot-1", bins=("A",), step_kg_ha=5.0),
        Ask(product="urea", rate_kg_ha=150.0, bins=("B", "A"), in_turn=True),
    ),
    target_plants_m2=270.0,
    survival=0.85,
    depth_m=0.04,
    texture="loam",
    moisture="good",
    guideline="a guideline",
    speed_m_s=2.1,
    headland_rounds=1,
    direction_deg=90.0,
    finish_by="2027-05-20",
    variety="a variety",
    notes="wet in the corner",
    extra={"land": "NE 12-34-5 W2", "stubble": "canola"},
    survival_sd=0.05,
    start_on="2027-05-03",
    day_hours=13.0,
    workable=0.7,
    weather=Weather(
        temperature_c=8.0,
        relative_humidity=0.8,
        pressure_pa=94_500.0,
        height_m=577.0,
        soil_temperature_c=6.0,
        at="2027-05-04T06:00:00.000Z",
    ),
)
ORDER = Order(
    key="ord-1", product="urea", quantity_kg=60_000.0, price_kg=0.71, supplier="Prairie Crossing Co-op", ordered_at=AT,
    wanted_by="2027-05-10", closed_at=LATER, note="by rail if the road is soft",
)  # fmt: skip
DELIVERY = Load(
    key="del-1", kind="delivery", product="urea", mass_kg=32_140.0, sd_kg=60.0, how="ticket", to_key="yard", ticket="7781", at=AT,
    order="ord-1",
)  # fmt: skip
TRUCK = Load(
    key="truck-1", kind="truck", product="urea", from_key="yard", to_key="truck", part_of="del-1", how="share",
    job="wheat-north", share=0.4, share_sd=0.05, note="half a box or less",
)  # fmt: skip
FILL = Fill(
    key="fill-1", outfit="big-drill", bin="B", product="urea", lot="", job="wheat-north", at=AT, put_kg=4210.0, put_sd_kg=40.0, how="pads",
    area_ha=12.3, level_before_kg=200.0, level_before_sd_kg=80.0, low_light_at_ha=11.9, load="truck-1",
)  # fmt: skip
READING = Reading(quantity="shown_mass:B", value=4000.5, sd=1.0, at=AT, instrument="display", derived_from=("F:B", "turns:B"))
CATCH = CatchRecord(
    key="catch-1", outfit="big-drill", bin="B", product="urea", masses_kg=(5.21, 5.18), turns=4.0, shown_kg=5.0, share=0.5, tare_kg=0.18,
    scale_division_kg=0.01, lot="", setting="gear 3", factor=est(1.25), at=AT, by="Kim", note="second try",
)  # fmt: skip
CALL = CallNote(
    key="call-1", at=AT, caller="Robin", outfit="big-drill", job="wheat-north", asked="bin B is early",
    readings=(READING, Reading(quantity="level:B", value=300.0, sd=50.0)), causes=("factor:B", "fill-missed:B"),
    advice="weigh the next fill", note="back at six",
)  # fmt: skip


def trail(n: int = 6) -> Trail:
    """A short trail with every column, gaps in some."""
    along = np.arange(n, dtype=float)
    return Trail(
        frame=FRAME,
        t_ms=(int(datetime(2027, 5, 4, 12, tzinfo=UTC).timestamp()) * 1000 + 1000 * np.arange(n)).astype(np.int64),
        xy_m=np.column_stack([2.1 * along, 0.1 * along]),
        speed_m_s=np.where(along == 2, np.nan, 2.1),
        sections=np.column_stack([along > 1, along > 2]),
        revs=np.column_stack([0.3 * along, 0.2 * along]),
        asked_kg_ha=np.full((n, 2), 120.0),
        echoed_kg_ha=None,
        area_ha=0.003 * along,
        step_m=None,
        mass_rate_kg_s=np.full(n, 0.4),
        run_present=np.column_stack([along > 0, along > 0, along < 0]),
        fan_turns_s=np.full(n, 71.0),
        lifted=along < 1,
        flags=np.where(along == 3, 2, 0).astype(np.int64),
        bins=("A", "B"),
        runs=(1, 2, 3),
        rows=n + 3,
        kept=n,
        repaired=(SetAside(line=4, reason="out of time order"),),
        set_aside=(SetAside(line=9, reason="no fix", text="9,,"), SetAside(line=10, reason="no fix")),
        notes=("sections from the log",),
        file_hash="cd" * 32,
        extra={"moist": np.linspace(0.1, 0.2, n)},
    )


def put_field_work(book: Any) -> None:
    """Put in what a fill needs: products, outfit, field, job."""
    with book.batch("field work"):
        for thing in (WHEAT, UREA, LOT, OUTFIT, BOUNDARY, JOB):
            book.put(thing)
