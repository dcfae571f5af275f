"""Synthetic logs to time coverage on: wandering passes over a field with curved ends, sections shut off at them, position noise."""

from __future__ import annotations

import numpy as np

from evenstand.model import Frame, Outfit, Section, Trail, Widths

WIDTH_M = 18.0
SECTIONS = 12
STEP_M = 0.5
NOISE_M = 0.015
OVERLAP_M = 0.30


def outfit() -> Outfit:
    """A tool of 18 m with twelve sections."""
    cuts = np.linspace(-WIDTH_M / 2, WIDTH_M / 2, SECTIONS + 1)
    parts = tuple(Section(number=i + 1, left_m=float(cuts[i]), right_m=float(cuts[i + 1])) for i in range(SECTIONS))
    return Outfit(key="bench", name="bench", widths=Widths(rate_m=WIDTH_M), sections=parts)


def straight(rows: int, seed: int) -> Trail:
    """Serpentine passes with steering error, now and then a pass 0.6 m off, and turns with the sections off."""
    rng = np.random.default_rng(seed)
    side = np.sqrt(rows * STEP_M * WIDTH_M * 0.86)
    spacing = WIDTH_M - OVERLAP_M
    offset = (np.arange(SECTIONS) + 0.5) * WIDTH_M / SECTIONS - WIDTH_M / 2
    phase = rng.uniform(0, 6.28, 3)
    points, states, total, k, u = [], [], 0, 0, WIDTH_M / 2
    while total < rows:
        at = u + rng.normal(0, 0.08) + (0.6 if rng.random() < 0.03 else 0.0)
        edges = np.array([at - WIDTH_M / 2, at + WIDTH_M / 2])
        v = np.arange(_low(edges, phase).min() - WIDTH_M, _high(edges, side, phase).max() + WIDTH_M, STEP_M)
        x = at + 0.05 * np.sin(v / 35 + k) + rng.normal(0, NOISE_M, v.size)
        y = v + rng.normal(0, NOISE_M, v.size)
        across = x[:, None] + offset
        on = (y[:, None] >= _low(across, phase)) & (y[:, None] <= _high(across, side, phase))
        if k % 2:
            x, y, on = x[::-1], y[::-1], on[::-1, ::-1]
        angle = np.linspace(0, np.pi, max(3, int(np.pi * spacing / 2 / STEP_M)))[1:-1]
        sign = -1 if k % 2 else 1
        points += [
            np.column_stack([x, y]),
            np.column_stack([at + spacing / 2 * (1 - np.cos(angle)), y[-1] + sign * spacing / 2 * np.sin(angle)]),
        ]
        states += [on, np.zeros((angle.size, SECTIONS), dtype=np.bool_)]
        total += v.size + angle.size
        u += spacing
        k += 1
    turn = rng.uniform(0, np.pi)
    c, s = np.cos(turn), np.sin(turn)
    xy = np.concatenate(points)[:rows] @ np.array([[c, s], [-s, c]])
    t = (np.arange(rows) * 200).astype(np.int64)
    return Trail(frame=Frame(lon_deg=-105.0, lat_deg=51.0), t_ms=t, xy_m=xy, sections=np.concatenate(states)[:rows], rows=rows, kept=rows)


def _low(u: np.ndarray, phase: np.ndarray) -> np.ndarray:
    return np.asarray(40 * np.sin(u / 170.0 + phase[0]))


def _high(u: np.ndarray, side: float, phase: np.ndarray) -> np.ndarray:
    return np.asarray(side + 0.12 * (u - side / 2) + 25 * np.sin(u / 90.0 + phase[1]))


def curved(rows: int, seed: int) -> Trail:
    """Passes that follow a bending line, each the one before moved over, with ends at the field's edge and turns between."""
    rng = np.random.default_rng(seed)
    side = np.sqrt(rows * STEP_M * WIDTH_M * 0.86)
    spacing = WIDTH_M - OVERLAP_M
    v = np.arange(-2 * WIDTH_M, side + 2 * WIDTH_M, STEP_M / 4)
    long, short = rng.uniform(240, 420), rng.uniform(110, 170)
    bend = 0.04 * long * np.sin(2 * np.pi * v / long + rng.uniform(0, 6)) + 0.015 * short * np.sin(
        2 * np.pi * v / short + rng.uniform(0, 6)
    )
    middle = np.column_stack([bend, v])
    offset = (np.arange(SECTIONS) + 0.5) * WIDTH_M / SECTIONS - WIDTH_M / 2
    points, states, total, k, u = [], [], 0, 0, WIDTH_M / 2
    while total < rows:
        line = _even(middle + np.array([u + rng.normal(0, 0.08), 0.0]), STEP_M)
        line = line + rng.normal(0, NOISE_M, line.shape)
        face = np.gradient(line, axis=0)
        across = np.column_stack([face[:, 1], -face[:, 0]]) / np.hypot(face[:, 0], face[:, 1])[:, None]
        place = line[:, None, :] + across[:, None, :] * offset[None, :, None]
        on = (place[:, :, 1] >= 0) & (place[:, :, 1] <= side)
        if k % 2:
            line, on = line[::-1], on[::-1, ::-1]
        sign = -1 if k % 2 else 1
        angle = np.linspace(0, np.pi, max(3, int(np.pi * spacing / 2 / STEP_M)))[1:-1]
        turn = np.column_stack([line[-1, 0] + spacing / 2 * (1 - np.cos(angle)), line[-1, 1] + sign * spacing / 2 * np.sin(angle)])
        points += [line, turn]
        states += [on, np.zeros((angle.size, SECTIONS), dtype=np.bool_)]
        total += line.shape[0] + angle.size
        u += spacing
        k += 1
    return _trail(points, states, rows, rng)


def headland(rows: int, seed: int) -> Trail:
    """Rounds along the outline with rounded corners, sown throughout, from the outside in, until the rows are used up."""
    rng = np.random.default_rng(seed)
    spacing = WIDTH_M - OVERLAP_M
    side = 1.15 * np.sqrt(rows * STEP_M * spacing)
    points: list[np.ndarray] = []
    total, k = 0, 0
    while total < rows:
        inset = WIDTH_M / 2 + k * spacing
        half = side / 2 - inset
        radius = max(4.0, min(28.0 - 0.2 * k, half * 0.9))
        if half < WIDTH_M:
            raise ValueError("the field is too small for so many rows")
        ring = _even(_rounded(half * np.array([1.0, 0.8 + 0.2 * np.cos(seed)]), radius), STEP_M)
        points.append(ring + rng.normal(0, NOISE_M, ring.shape))
        total += ring.shape[0]
        k += 1
    states = [np.ones((p.shape[0], SECTIONS), dtype=np.bool_) for p in points]
    for state in states:
        state[-1] = False  # the tool is lifted where a round closes
    return _trail(points, states, rows, rng)


def _rounded(half: np.ndarray, radius: float) -> np.ndarray:
    """A closed rectangle with round corners, densely. [m]"""
    angle = np.linspace(0, np.pi / 2, 80)
    out = []
    for q, (sx, sy) in enumerate(((1, 1), (-1, 1), (-1, -1), (1, -1))):
        a = angle + q * np.pi / 2
        out.append(np.column_stack([sx * (half[0] - radius) + radius * np.cos(a), sy * (half[1] - radius) + radius * np.sin(a)]))
    ring = np.concatenate(out)
    return np.concatenate([ring, ring[:1]])


def _even(line: np.ndarray, step_m: float) -> np.ndarray:
    """A line resampled at even steps along it. [m]"""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    at = np.arange(0.0, along[-1], step_m)
    return np.column_stack([np.interp(at, along, line[:, i]) for i in (0, 1)])


def _trail(points: list[np.ndarray], states: list[np.ndarray], rows: int, rng: np.random.Generator) -> Trail:
    """The points as a trail, turned to any heading."""
    turn = rng.uniform(0, np.pi)
    c, s = np.cos(turn), np.sin(turn)
    xy = np.concatenate(points)[:rows] @ np.array([[c, s], [-s, c]])
    t = (np.arange(xy.shape[0]) * 200).astype(np.int64)
    sections = np.concatenate(states)[:rows]
    return Trail(frame=Frame(lon_deg=-105.0, lat_deg=51.0), t_ms=t, xy_m=xy, sections=sections, rows=xy.shape[0], kept=xy.shape[0])
