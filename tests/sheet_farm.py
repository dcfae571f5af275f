"""An invented outfit, field and plan for the tests of drawings and sheets. All numbers are made up in the usual ranges."""

from __future__ import annotations

import numpy as np
from shapely.affinity import rotate
from shapely.geometry import LineString, MultiLineString
from shapely.geometry import Polygon as Outline

from evenstand.base.estimate import Est
from evenstand.model import (
    Ask,
    Bin,
    BinPlan,
    Boundary,
    CardLine,
    Drive,
    Frame,
    Hazard,
    Head,
    Job,
    Lot,
    Meter,
    Outfit,
    Plan,
    Polygon,
    Product,
    RowLimit,
    Run,
    Stop,
    Stream,
    Widths,
)

OUTSIDE = ((0.0, 0.0), (780.0, 0.0), (800.0, 420.0), (640.0, 790.0), (0.0, 800.0), (0.0, 0.0))
HOLE = ((300.0, 340.0), (360.0, 320.0), (420.0, 360.0), (400.0, 430.0), (330.0, 440.0), (290.0, 390.0), (300.0, 340.0))
WIDTH_M = 16.256


def boundary() -> Boundary:
    """A field of about 60 ha with a slough, a yard to keep out of, two gates, a line and a culvert."""
    area = Outline(OUTSIDE, [HOLE]).area
    yard = ((560.0, 120.0), (610.0, 120.0), (610.0, 160.0), (560.0, 160.0), (560.0, 120.0))
    return Boundary(
        key="home-quarter",
        name="Home quarter",
        frame=Frame(lon_deg=-106.5, lat_deg=51.9),
        polygons=(Polygon(outside=OUTSIDE, holes=(HOLE,)),),
        area_m2=area,
        geodesic_m2=area * 1.0001,
        obstacles=(Polygon(outside=yard),),
        entries=((780.0, 60.0), (0.0, 700.0)),
        fill_points=((740.0, 0.0),),
        hazards=(
            Hazard(kind="overhead line", note="low where it crosses the east gate; fold away from it", x_m=790.0, y_m=200.0),
            Hazard(kind="soft spot", note="stay off the slough's north edge after rain", x_m=350.0, y_m=455.0),
        ),
    )


def drive() -> Drive:
    """One headland round, then straight passes to and fro, 16.256 m apart."""
    field = Outline(OUTSIDE, [HOLE])
    points: list[tuple[float, float]] = []
    kinds: list[int] = []
    numbers: list[int] = []
    round_line = list(field.buffer(-WIDTH_M / 2).exterior.coords)
    points += [(x, y) for x, y in round_line]
    kinds += [0] * len(round_line)
    numbers += [1] * len(round_line)
    inner = rotate(field.buffer(-WIDTH_M), 0.0)
    number, forward = 1, True
    left, _, right, _ = inner.bounds
    for x in np.arange(left + WIDTH_M / 2, right, WIDTH_M):
        cut = inner.intersection(LineString([(x, -10), (x, 900)]))
        parts = list(cut.geoms) if isinstance(cut, MultiLineString) else [cut]
        ends = [tuple(p.coords) for p in parts if not p.is_empty]
        ends = ends if forward else [tuple(reversed(p)) for p in reversed(ends)]
        for piece in ends:
            number += 1
            kinds += [2, 1, 1]
            numbers += [0, number, number]
            points += [points[-1], *piece]
        forward = not forward
    xy = np.array(points, dtype=float)
    step = np.hypot(*np.diff(xy, axis=0).T)
    station = np.concatenate([[0.0], np.cumsum(step)])
    return Drive(
        xy_m=xy,
        station_m=station,
        t_s=station / 2.1,
        kind=np.array(kinds, dtype=np.int64),
        pass_id=np.array(numbers, dtype=np.int64),
        width_m=WIDTH_M,
        direction_deg=0.0,
        headland_rounds=1,
        passes=number,
        notes=("Line through the west gate, as last year.",),
    )


def outfit(*, runs: bool = True) -> Outfit:
    """64 openers in four ranks, two streams of eight heads each, run sensors on the seed stream, opener 37 and 38 shut."""
    letters = "ABCDEFGH"
    heads = tuple(Head(letter=c, outlets=8, stream="1", segment=i + 1, primary_m=9.0) for i, c in enumerate(letters))
    heads += tuple(Head(letter=c, outlets=8, stream="2", segment=i + 1, primary_m=9.0) for i, c in enumerate("JKLMNPQR"))
    listed = []
    for n in range(1, 65):
        block, outlet = divmod(n - 1, 8)
        offset = (n - 32.5) * 0.254
        shut = n in {37, 38}
        listed.append(
            Run(
                number=n,
                head=letters[block],
                outlet=outlet + 1,
                offset_m=offset,
                rank=(n - 1) % 4 + 1,
                sensor=n if n % 2 else None,
                shut=shut,
            )
        )
        listed.append(Run(number=n, head="JKLMNPQR"[block], outlet=outlet + 1, offset_m=offset, rank=(n - 1) % 4 + 1, shut=shut))
    return Outfit(
        key="outfit-a",
        name="Outfit A, 64 openers",
        rows=64,
        row_spacing_m=0.254,
        spread_m=0.05,
        widths=Widths(true_m=Est(value=16.256, sd=0.02, basis="measured"), rate_m=16.256, guidance_m=16.15),
        bins=(
            Bin(
                letter="A",
                label="front",
                position="front",
                capacity_m3=Est(value=6.2, sd=0.1),
                stream="2",
                meter=Meter(roller="coarse", segments=8),
                low_light_kg=Est(value=180, sd=30),
            ),
            Bin(
                letter="C",
                label="third",
                position="third",
                capacity_m3=Est(value=4.6, sd=0.1),
                stream="1",
                meter=Meter(roller="coarse", segments=8),
            ),
            Bin(
                letter="D",
                label="rear",
                position="rear",
                capacity_m3=Est(value=6.6, sd=0.1),
                stream="1",
                meter=Meter(roller="coarse", segments=8),
            ),
        ),
        streams=(Stream(key="1", placement="seed-row", label="one"), Stream(key="2", placement="side-band", label="two")),
        heads=heads,
        runs=tuple(listed) if runs else (),
        speed_m_s=7.6 / 3.6,
    )


def small_outfit() -> Outfit:
    """39 openers on six unequal heads, one stream, no sensors."""
    counts = {"A": 7, "B": 6, "C": 7, "D": 6, "E": 7, "F": 6}
    runs, n = [], 0
    for letter, count in counts.items():
        for outlet in range(1, count + 1):
            n += 1
            runs.append(Run(number=n, head=letter, outlet=outlet, offset_m=(n - 20) * 0.305, rank=(n - 1) % 3 + 1))
    heads = tuple(Head(letter=c, outlets=k) for c, k in counts.items())
    return Outfit(key="outfit-b", name="Outfit B, 39 openers", rows=39, row_spacing_m=0.305, heads=heads, runs=tuple(runs))


def products() -> dict[str, Product]:
    """Wheat seed, urea and monoammonium phosphate."""
    return {
        "wheat": Product(key="wheat", name="Wheat seed, treated", kind="seed", crop="wheat"),
        "urea": Product(key="urea", name="Urea 46-0-0", kind="fertilizer", analysis={"N": 0.46}),
        "map": Product(key="map", name="MAP 11-52-0", kind="fertilizer", analysis={"N": 0.11, "P2O5": 0.52}),
    }


def lots() -> dict[str, Lot]:
    """One tested lot of seed."""
    lot = Lot(key="w-26-1", product="wheat", label="W-26-1", tkw_g=Est(value=38, sd=0.5), germination=Est(value=0.96), treatment="treated")
    return {"wheat": lot}


def job() -> Job:
    """Wheat on the home quarter."""
    return Job(
        key="hq-wheat",
        crop="wheat",
        season=2027,
        field_key="home-quarter",
        outfit="outfit-a",
        asks=(Ask(product="wheat", rate_kg_ha=121), Ask(product="urea", rate_kg_ha=150), Ask(product="map", rate_kg_ha=75)),
        depth_m=0.038,
        speed_m_s=7.6 / 3.6,
        finish_by="2027-05-20",
    )


def _bin_plan(letter: str, product: str, rate: float, factor: float | None, full: float, stream: str) -> BinPlan:
    shaft = None if factor is None else rate * 7.6 / 3.6 * WIDTH_M / 1e4 / factor
    turns = None if factor is None else 10.0
    catch = None if factor is None else factor * 10
    return BinPlan(
        bin=letter,
        product=product,
        rate_kg_ha=rate,
        factor_kg_turn=None if factor is None else Est(value=factor, sd=0.02 * factor, basis="catch"),
        shaft_turns_s=shaft,
        speed_low_m_s=None if factor is None else 1.4,
        speed_high_m_s=None if factor is None else 3.3,
        full_kg=Est(value=full, sd=0.03 * full),
        ha_per_fill=Est(value=full / rate, sd=0.03 * full / rate),
        need_kg=rate * 61.2,
        catch_turns=turns,
        catch_kg=catch,
        catch_low_kg=None if catch is None else catch * 0.97,
        catch_high_kg=None if catch is None else catch * 1.03,
        stream=stream,
    )


def card() -> tuple[CardLine, ...]:
    """Lines of every group; the third bin's factor and the fan speed are not known yet."""

    def line(key: str, group: str, label: str, quantity: str, value: float | None = None, **more: object) -> CardLine:
        state = "known" if value is not None else "needs"
        return CardLine(key=key, group=group, label=label, quantity=quantity, state=state, value=value, **more)  # type: ignore[arg-type]

    return (
        line("area", "job", "Area of the field", "area", 61.2, why="outline, holes taken off", stale="new outline"),
        line(
            "width-rate",
            "width",
            "Width typed for the rate",
            "width",
            16.256,
            why="taped",
            set_by="K. Berg",
            yours="Impl. width",
            stale="a run shut",
        ),
        line(
            "width-guide",
            "width",
            "Width typed for guidance",
            "width",
            16.15,
            why="10 cm of overlap wanted",
            set_by="K. Berg",
            stale="other tool",
        ),
        line("pulse", "travel", "Distance per pulse", "pulse", 0.1927, why="100 m tape, half full", stale="tyres, load, soil"),
        line("rate:D", "bin", "Rate", "rate", 121.0, bin="D", product="wheat", why="270 plants, 85 % survival", stale="new lot"),
        line(
            "factor:D",
            "bin",
            "Product per turn",
            "factor",
            1.25,
            low=1.22,
            high=1.28,
            bin="D",
            product="wheat",
            why="catch 2 May",
            stale="new lot, treatment, roller",
        ),
        line(
            "shaft:D",
            "bin",
            "Meter speed to expect",
            "shaft",
            0.332,
            bin="D",
            product="wheat",
            why="at 7.6 km/h",
            stale="rate, speed, factor",
        ),
        line(
            "lowalarm:D",
            "alarm",
            "Low-bin alarm",
            "mass",
            420.0,
            bin="D",
            product="wheat",
            why="one round and a margin",
            stale="other field",
        ),
        line("rate:C", "bin", "Rate", "rate", 75.0, bin="C", product="map"),
        line(
            "factor:C",
            "bin",
            "Product per turn",
            "factor",
            bin="C",
            product="map",
            needs=("a catch test",),
            how="Catch 10 turns of all segments, weigh, divide.",
        ),
        line("rate:A", "bin", "Rate", "rate", 150.0, bin="A", product="urea"),
        line(
            "factor:A",
            "bin",
            "Product per turn",
            "factor",
            1.18,
            low=1.15,
            high=1.21,
            bin="A",
            product="urea",
            why="catch 2 May",
            stale="new lot, humid morning",
        ),
        line("off:all", "alarm", "Rate-off alarm", "share", 0.05, why="worth stopping for", basis="common-practice"),
        line(
            "fan",
            "fan",
            "Fan speed, proven",
            "fan",
            needs=("a proven fan speed",),
            how="Note the speed at which the puff test passed with product flowing.",
        ),
        line("depth", "row", "Depth wanted", "depth", 0.038),
        line("stand", "stand", "Plants to expect", "stand", 270.0, low=245, high=295, why="thousand-kernel weight 38 g, survival 85 %"),
    )


def plan(*, with_drive: bool = True) -> Plan:
    """The plan of the job; bin C has no factor yet."""
    stops = (
        Stop(
            after_pass=14,
            latest_pass=16,
            at_ha=20.4,
            at_h=2.4,
            left_kg={"A": 1310, "C": 2620, "D": 2290},
            add_kg={"A": 3060, "C": 1530, "D": 2468},
        ),
        Stop(
            after_pass=31,
            latest_pass=33,
            at_ha=41.9,
            at_h=5.0,
            left_kg={"A": 1140, "C": 2540, "D": 2160},
            add_kg={"A": 2890, "C": 0, "D": 300},
            note="last fill: only what is left to sow",
        ),
    )
    return Plan(
        job="hq-wheat",
        crop="wheat",
        outfit="outfit-a",
        field_name="Home quarter",
        area_ha=61.2,
        width_m=WIDTH_M,
        speed_m_s=7.6 / 3.6,
        in_work_ha_h=12.35,
        efficiency_low=0.65,
        efficiency_high=0.77,
        low_ha_h=8.0,
        high_ha_h=9.5,
        hours_in_work=4.96,
        hours_low=6.4,
        hours_high=7.7,
        bins=(
            _bin_plan("A", "urea", 150, 1.18, 4359, "2"),
            _bin_plan("C", "map", 75, None, 4150, "1"),
            _bin_plan("D", "wheat", 121, 1.25, 4890, "1"),
        ),
        total_kg={"urea": 9180, "map": 4590, "wheat": 7405},
        drive=drive() if with_drive else None,
        stops=stops if with_drive else (),
        row_limits=(
            RowLimit(
                nutrient="N",
                asked_kg_ha=8.3,
                limit_kg_ha=None,
                sbu=0.197,
                guideline="named guideline",
                note="not published for this case",
                ok=None,
            ),
        ),
        card=card(),
        cautions=(
            "Shut the fan before any lid is opened.",
            "Keep hands clear of meter rollers; stop the drive first.",
            "Treated seed: follow its label, keep left-overs out of feed.",
        ),
        proof={"stops": "fewest stops, proven"},
        input_hash="5f2a9c11d0e84b7f",
    )


def bare_plan() -> Plan:
    """What five typed values give: everything else is a write-in line."""
    return Plan(
        job="quick",
        crop="wheat",
        outfit="",
        field_name="",
        area_ha=62.0,
        width_m=16.3,
        speed_m_s=7.5 / 3.6,
        in_work_ha_h=12.2,
        efficiency_low=0.65,
        efficiency_high=0.77,
        low_ha_h=7.9,
        high_ha_h=9.4,
        hours_in_work=5.1,
        hours_low=6.6,
        hours_high=7.8,
        bins=(BinPlan(bin="A", product="wheat", rate_kg_ha=120.0),),
        total_kg={"wheat": 7440},
        card=(
            CardLine(key="rate:A", group="bin", label="Rate", quantity="rate", state="typed", value=120.0, bin="A", product="wheat"),
            CardLine(
                key="factor:A",
                group="bin",
                label="Product per turn",
                quantity="factor",
                state="needs",
                bin="A",
                product="wheat",
                needs=("product per turn",),
                how="Catch test: turn the meter, weigh, divide.",
            ),
        ),
        cautions=("Shut the fan before any lid is opened.",),
        input_hash="0011223344556677",
    )
