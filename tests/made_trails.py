"""Trails and logs that can be checked by hand."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from evenstand.model import Boundary, Frame, Outfit, Polygon, Section, Trail, Widths

FRAME = Frame(lon_deg=-105.0, lat_deg=51.0)


def tool(width_m: float, sections: int = 0, **more: object) -> Outfit:
    """An outfit of that width; its sections are equal."""
    cuts = np.linspace(-width_m / 2, width_m / 2, sections + 1)
    parts = tuple(Section(number=i + 1, left_m=float(cuts[i]), right_m=float(cuts[i + 1])) for i in range(sections))
    return Outfit(key="t", name="tool", widths=Widths(rate_m=width_m), sections=parts, **more)  # type: ignore[arg-type]


def trail_of(xy: np.ndarray, *, dt_s: float = 1.0, **columns: object) -> Trail:
    """A trail through these points at even times."""
    t = (np.arange(len(xy)) * dt_s * 1000).astype(np.int64)
    return Trail(frame=FRAME, t_ms=t, xy_m=np.asarray(xy, dtype=np.float64), rows=len(xy), kept=len(xy), **columns)  # type: ignore[arg-type]


def passes_trail(*, length_m: float = 100.0, spacing_m: float = 10.0, passes: int = 10, step_m: float = 2.0, turn_rows: int = 6) -> Trail:
    """To and fro along north from x = spacing / 2 on, openers up in the turns between."""
    points, lifted = [], []
    for k in range(passes):
        y = np.arange(0.0, length_m + 1e-9, step_m)
        y = y if k % 2 == 0 else y[::-1]
        x = np.full(y.size, (k + 0.5) * spacing_m)
        points.append(np.column_stack([x, y]))
        up = np.zeros(y.size, dtype=bool)
        up[-1] = True  # the state of a row holds until the next one
        lifted.append(up)
        if k + 1 < passes:
            angle = np.linspace(0, np.pi, turn_rows + 2)[1:-1]
            sign = 1 if k % 2 == 0 else -1
            centre = (k + 1) * spacing_m
            points.append(np.column_stack([centre - spacing_m / 2 * np.cos(angle), y[-1] + sign * spacing_m / 2 * np.sin(angle)]))
            lifted.append(np.ones(turn_rows, dtype=bool))
    return trail_of(np.concatenate(points), lifted=np.concatenate(lifted))


def square(side_m: float, x_m: float = 0.0, y_m: float = 0.0, hole_m: float = 0.0) -> Boundary:
    """A square field with its lower left corner at x, y, and a square hole in its middle."""

    def ring(a: float, b: float, c: float, d: float) -> tuple[tuple[float, float], ...]:
        return ((a, b), (c, b), (c, d), (a, d), (a, b))

    middle_x, middle_y, h = x_m + side_m / 2, y_m + side_m / 2, hole_m / 2
    holes = (tuple(reversed(ring(middle_x - h, middle_y - h, middle_x + h, middle_y + h))),) if hole_m else ()
    area = side_m**2 - hole_m**2
    outline = Polygon(outside=ring(x_m, y_m, x_m + side_m, y_m + side_m), holes=holes)
    return Boundary(key="f", name="square", frame=FRAME, polygons=(outline,), area_m2=area, geodesic_m2=area)


HEADER = "time,lon,lat,speed (km/h),rate applied A (kg/ha)"


def log_lines(rows: int = 60, *, speed: float = 7.2, rate: float = 120.0) -> list[str]:
    """A straight log northwards at 2 m a second: header and rows of text."""
    out = [HEADER]
    for i in range(rows):
        at = f"2027-05-04T14:{i // 60:02d}:{i % 60:02d}Z"
        out.append(f"{at},-105.0000000,{51 + i * 2.0 / 111_259.0:.9f},{speed},{rate}")
    return out


def write_log(path: Path, lines: list[str], *, encoding: str = "utf-8", end: str = "\n") -> Path:
    """Lines as a file."""
    path.write_bytes((end.join(lines) + end).encode(encoding))
    return path
