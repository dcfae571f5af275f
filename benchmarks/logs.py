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
