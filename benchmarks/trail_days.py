"""Days for the bench of the trail detectors: made outfits and fields, a log of one row a second, and at most one fault put in.

A third of the days is a plain rectangle, a third a field driven to and fro, a third a field with headland rounds as the planner lays them;
fields are those of the demo farm or made here. What was put in is handed to the scoring, never to the detectors.
"""

from __future__ import annotations

import dataclasses
import math
from functools import cache
from typing import Any

import numpy as np

from benchmarks.breaking import BREAKERS, Broken, made_outfit, rows_of, weighed_level, with_gaps
from benchmarks.trail_ideal import figures_of_day

JOBS = ("home-wheat", "sloughs-canola", "dogleg-pea")
SIMULATED = ("run", "head", "distance-scale", "guidance-width")
KINDS = (*SIMULATED, *BREAKERS)
WORLDS = ("nominal", "rough", "hostile")
WAYS = ("rectangle", "to and fro", "planned")
THIN_HA = 10.0


@cache
def farm() -> Any:
    """The demo farm."""
    from evenstand.desk.demo_farm import demo_farm

    return demo_farm()


def made_field(roll: np.random.Generator, least_ha: float = 20.0, most_ha: float = 70.0) -> Any:
    """A field of six to eleven corners, some sides bent, half of them with a slough."""
    from shapely import Polygon as Shape
    from shapely.geometry.polygon import orient

    from evenstand.model import Boundary, Frame
    from evenstand.model.place import Polygon

    corners = int(roll.integers(6, 12))
    angle = np.sort((np.arange(corners) + roll.uniform(-0.3, 0.3, corners)) * 2 * math.pi / corners)
    reach = roll.uniform(0.75, 1.15, corners)
    xy = np.column_stack([reach * np.cos(angle), reach * np.sin(angle)]) * np.array([1.0, roll.uniform(0.6, 1.0)])
    shape = Shape(xy)
    shape = shape.buffer(-0.12).buffer(0.2, quad_segs=8).buffer(-0.08, quad_segs=8) if roll.random() < 0.5 else shape
    if roll.random() < 0.5:
        at = shape.representative_point()
        slough = Shape([(at.x + 0.12 * r * math.cos(a), at.y + 0.12 * r * math.sin(a)) for a, r in zip(angle, reach, strict=True)])
        shape = shape.difference(slough)
    scale = math.sqrt(float(roll.uniform(least_ha, most_ha)) * 1e4 / shape.area)
    rings = [np.asarray(r.coords)[:, :2] * scale for r in (orient(shape).exterior, *orient(shape).interiors)]
    tuples = [tuple((float(x), float(y)) for x, y in ring) for ring in rings]
    area = float(shape.area) * scale * scale
    frame = Frame(lon_deg=-106.0, lat_deg=51.0)
    outline = Polygon(outside=tuples[0], holes=tuple(tuples[1:]))
    return Boundary(key="made", name="made", frame=frame, polygons=(outline,), area_m2=area, geodesic_m2=area)


def _planned(plan: Any, outfit: Any, field: Any, roll: np.random.Generator) -> Any:
    """The plan with headland rounds and passes as the planner lays them; without a line where no pass fits."""
    from evenstand.base.errors import EvenstandError
    from evenstand.field.driving import plan_passes

    try:
        drive = plan_passes(
            field,
            outfit.widths.guidance_m or outfit.width_m,
            direction_deg=float(roll.uniform(0, 180)) if roll.random() < 0.4 else None,
            headland_rounds=int(roll.integers(1, 4)),
            turn_radius_m=outfit.turn_radius_m,
            speed_m_s=outfit.speed_m_s,
        )
    except EvenstandError:
        return plan
    return dataclasses.replace(plan, drive=drive)


def made_day(seed: int, kind: str, world: str, *, thin: bool = False) -> tuple[Any, Broken, tuple[str, ...]]:
    """(outfit as the detectors know it, the trail with its truth, causes of a second fault). thin: some 10 ha only."""
    from evenstand.desk import days
    from evenstand.simulate import simulate_day

    roll = np.random.default_rng([seed, KINDS.index(kind) if kind else 99, WORLDS.index(world)])
    plain = farm().outfit("A")
    outfit = plain if seed % 4 == 0 else made_outfit(plain, roll)
    job = farm().job(JOBS[seed % len(JOBS)])
    plan = dataclasses.replace(days.demo_plan(farm(), job.key), width_m=None, speed_m_s=None)
    way = WAYS[int(roll.integers(len(WAYS)))]
    field = None if way == "rectangle" else farm().boundary(job.field_key) if roll.random() < 0.3 else made_field(roll)
    driven, texts, size, cause = outfit, (), 0.0, ""
    if kind == "run":
        number = int(roll.integers(1, len(outfit.runs) + 1))
        texts, cause, size = (f"run={number}",), f"run:{number}", 1.0
    elif kind == "head":
        letter = str(roll.choice([h.letter for h in outfit.heads if h.stream in (None, *outfit.sensor_streams)]))
        texts, cause, size = (f"head={letter}",), f"head:{letter}", 1.0
    elif kind == "distance-scale":
        size = float(roll.uniform(0.01, 0.15)) * float(roll.choice([-1.0, 1.0]))
        texts, cause = (f"distance={100 * size:.4f}",), "distance"
    elif kind == "guidance-width":
        size = float(roll.uniform(0.02, 0.6)) * float(roll.choice([-1.0, 1.0]))
        cause = "guidance"
        driven = dataclasses.replace(outfit, widths=dataclasses.replace(outfit.widths, guidance_m=(outfit.widths.guidance_m or 1.0) + size))
    if way == "planned":
        plan = _planned(plan, driven, field, roll)
    hectares = THIN_HA * float(roll.uniform(0.9, 1.3)) if thin else float(roll.uniform(18, 62))
    simulated = "nominal" if world == "nominal" else "rough"
    day = simulate_day(driven, plan, field, seed=seed, faults=texts, world=simulated, max_area_ha=hectares)
    trail = day.trail
    also: tuple[str, ...] = ()
    if world == "hostile":
        trail, also = _hostile(trail, outfit, kind, roll)
    if not kind:
        figures = figures_of_day(trail, outfit, distance_ratio=day.truth.distance_ratio, way="planned" if plan.drive else way)
        broken = Broken(trail=trail, cause="", size=None, drawn=0.0, clean=figures)
    elif kind in BREAKERS:
        broken = BREAKERS[kind](trail, outfit, roll)
    else:
        true = {"distance-scale": 100 * (day.truth.distance_ratio - 1), "guidance-width": size}.get(kind)
        broken = Broken(trail=trail, cause=cause, size=true, drawn=abs(size), onset_s=day.truth.since_s.get(cause))
    if kind != "no-fall" and broken.trail.revs is not None:
        broken = dataclasses.replace(broken, trail=weighed_level(broken.trail, roll, int(roll.integers(len(trail.bins)))))
    return outfit, broken, (*broken.also, *also)


def _hostile(trail: Any, outfit: Any, kind: str, roll: np.random.Generator) -> tuple[Any, tuple[str, ...]]:
    """Rows and sightings lost; with a fault to be found, a second one of another family."""
    present = trail.run_present
    if present is not None:
        trail = dataclasses.replace(trail, run_present=present & (roll.random(present.shape, dtype=np.float32) > 0.02))
    trail = with_gaps(trail, roll)
    if not kind:
        return trail, ()
    family = kind.partition("-")[0]
    others = [
        k for k in BREAKERS if k.partition("-")[0] != family and k not in ("work-stuck", "no-fall", "run-stretch") and kind != "work-stuck"
    ]
    if not others:
        return trail, ()
    second = BREAKERS[str(roll.choice(others))](trail, outfit, roll)
    return second.trail, (second.cause,)


__all__ = ["KINDS", "SIMULATED", "WORLDS", "made_day", "made_field", "rows_of"]
