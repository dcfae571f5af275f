"""A plain made-up drive: an outfit goes up and down a field, and this says where it was and what it read at each row.

It shares nothing with the package: the logs written from it are to be understood from their text alone.
"""

import itertools
import math
import random
from dataclasses import dataclass, field


@dataclass
class Bin:
    """One product: its asked rate, and kilograms for each turn of its meter."""

    rate_kg_ha: float
    kg_turn: float


@dataclass
class Row:
    """What was true, and what the outfit's own instruments said, at one row."""

    t_s: float
    x_m: float
    y_m: float
    speed_m_s: float
    heading_deg: float
    step_m: float
    distance_m: float
    area_m2: float
    work: bool
    sections: list[bool]
    asked: list[float]
    echoed: list[float]
    turns: list[float]
    mass_rate: list[float]
    fan_rpm: float
    engine_rpm: float
    left_kg: list[float]
    satellites: int
    hdop: float
    altitude_m: float
    warm_c: float
    pass_number: int
    runs: list[bool] = field(default_factory=list)


def way(length_m, width_m, passes, bearing_deg):
    """The way as (x, y, straight) points half a metre apart: passes side by side, half circles between them."""
    points, ds, side = [], 0.5, 1
    for k in range(passes):
        xs = k * width_m
        n = int(length_m / ds)
        points += [(xs, (i * ds if side > 0 else length_m - i * ds), True) for i in range(n)]
        r, end = width_m / 2.0, (length_m if side > 0 else 0.0)
        m = int(math.pi * r / ds)
        points += [(xs + r - r * math.cos(math.pi * i / m), end + side * r * math.sin(math.pi * i / m), False) for i in range(m)]
        side = -side
    b = math.radians(bearing_deg)
    return [(x * math.cos(b) + y * math.sin(b), -x * math.sin(b) + y * math.cos(b), s) for x, y, s in points]


def drive(
    *,
    seed,
    rows,
    dt=1.0,
    bins=(),
    sections=6,
    runs=0,
    width_m=12.2,
    length_m=140.0,
    passes=12,
    bearing_deg=17.0,
    speed_m_s=2.2,
    noise_m=0.012,
    bad_run=None,
):
    """Return the rows of a drive."""
    rng = random.Random(seed)
    points = way(length_m, width_m, passes, bearing_deg)
    cum = [0.0]
    for a, b in itertools.pairwise(points):
        cum.append(cum[-1] + math.hypot(b[0] - a[0], b[1] - a[1]))
    s, v, k, out = 0.0, 0.3 * speed_m_s, 0, []
    distance, area = 1250.0 + rng.random(), 8.0e4 + 100 * rng.random()
    turns = [300.0 + 500 * rng.random() for _ in bins]
    left = [2400.0 + 300 * rng.random() for _ in bins]
    wander, pass_number, was_straight = 0.0, 1, True
    for i in range(rows):
        if i:
            step = v * dt
            s += step
            distance += step
        else:
            step = 0.0
        while k + 2 < len(cum) and cum[k + 1] <= s:
            k += 1
        (x0, y0, straight), (x1, y1, _) = points[k], points[k + 1]
        f = (s - cum[k]) / (cum[k + 1] - cum[k])
        x, y = x0 + f * (x1 - x0), y0 + f * (y1 - y0)
        heading = math.degrees(math.atan2(x1 - x0, y1 - y0)) % 360.0
        if straight and not was_straight:
            pass_number += 1
        was_straight = straight
        on = [straight] * sections
        # the end of the field lies askew: the outer sections come on and off one after another
        along = s - cum[0]
        local = along % (length_m + math.pi * width_m / 2)
        for j in range(sections):
            if straight and local < 1.6 * j:
                on[j] = False
        work = straight
        share = sum(on) / sections
        swept = step * width_m * share
        area += swept
        asked, echoed, flow = [], [], []
        for b, product in enumerate(bins):
            asked.append(product.rate_kg_ha)
            now = product.rate_kg_ha * (1 + 0.012 * rng.gauss(0, 1)) if share > 0 else 0.0
            echoed.append(now)
            turns[b] += swept / 1e4 * product.rate_kg_ha / product.kg_turn
            left[b] -= swept / 1e4 * product.rate_kg_ha
            flow.append(now * v * width_m * share / 1e4)
        seen = [share > 0 and rng.random() > 0.002 for _ in range(runs)]
        if bad_run is not None and i > 0.6 * rows:
            seen[bad_run] = False
        out.append(
            Row(
                i * dt,
                x + rng.gauss(0, noise_m),
                y + rng.gauss(0, noise_m),
                v * (1 + 0.004 * rng.gauss(0, 1)),
                (heading + rng.gauss(0, 0.4)) % 360.0,
                step,
                distance,
                area,
                work,
                on,
                asked,
                echoed,
                list(turns),
                flow,
                4150 + 25 * rng.gauss(0, 1) + (0 if work else 190),
                1880 + 12 * rng.gauss(0, 1),
                list(left),
                15 + rng.randrange(5),
                0.6 + 0.1 * rng.randrange(4),
                531.0 + 0.004 * y + 0.05 * rng.gauss(0, 1),
                11.0 + 0.004 * i + 0.1 * rng.gauss(0, 1),
                pass_number,
                seen,
            )
        )
        wander = 0.9 * wander + 0.05 * rng.gauss(0, 1)
        aim = (speed_m_s if straight else 0.62 * speed_m_s) + wander
        v += (aim - v) * (1 - math.exp(-dt / 2.0))
        v = max(v, 0.1)
    return out


A, F = 6378137.0, 1 / 298.257223563


def to_lonlat(lon0, lat0, x, y):
    """Degrees of a point x east and y north, in metres, of an origin: good to millimetres over a field."""
    p = math.radians(lat0)
    e2 = F * (2 - F)
    w = 1 - e2 * math.sin(p) ** 2
    north = A * (1 - e2) / w**1.5
    lat = lat0 + math.degrees(y / north)
    east = A / math.sqrt(1 - e2 * math.sin(math.radians(lat)) ** 2) * math.cos(math.radians(lat))
    return lon0 + math.degrees(x / east), lat
