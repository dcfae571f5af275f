"""Cells by the place they lie in, and sums over them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from evenstand.model.place import Boundary, FloatArray
from evenstand.model.trail import Trail
from evenstand.trail.cells import CellMap, DoseArray
from evenstand.trail.compiled import jit
from evenstand.trail.covering import boundary_rings

ELSEWHERE = "elsewhere"
OUTSIDE = "outside"
LabelArray = npt.NDArray[np.int16]


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """Ground and product of one part.

    kind: "whole", "day", "zone", "part" (of the field), "pass", "bin" or "product"; sown_m2: sum of strips, ground sown twice counted
    twice; covered_m2: once or more, for a day or a pass the ground first sown then; twice_m2: of that ground, sown two times or more by the
    end; repeat_m2: sown_m2 less covered_m2; skipped_m2: inside the field, or without a field inside the zone, and not sown, None where that
    cannot be said [m²]; mass_kg: by bin letter, as the controller reported [kg].
    """

    kind: str
    name: str
    sown_m2: float
    covered_m2: float
    twice_m2: float
    repeat_m2: float
    skipped_m2: float | None = None
    mass_kg: dict[str, float] = field(default_factory=dict)


class LabelSums:
    """Sums over labelled cells; label -1 is what lies elsewhere and stands first."""

    def __init__(self, cells: CellMap, label: LabelArray, inside: LabelArray | None, names: int) -> None:
        bounded = inside is not None
        sums = by_label(label, inside if inside is not None else label, bounded, cells.count, names + 1)
        self.sown, self.covered, self.twice, self.skipped = sums
        self.label, self.names, self.bounded, self.cell_m2 = label, names, bounded, cells.cell_m2
        self.mass: dict[str, FloatArray] = {}

    def weigh(self, letter: str, dose: DoseArray) -> None:
        """Kilograms of a bin on each label."""
        self.mass[letter] = mass_of(self.label, dose, self.names + 1) * self.cell_m2 / 1e4

    def parts(self, kind: str, names: Sequence[str]) -> tuple[Part, ...]:
        """Elsewhere last, and only where something was sown or skipped there."""
        out = []
        for i in (*range(1, self.names + 1), 0):
            sown, covered, twice, skipped = (float(v[i]) * self.cell_m2 for v in (self.sown, self.covered, self.twice, self.skipped))
            tells = i > 0 or (self.bounded and kind == "zone")
            if i == 0 and sown == 0 and not (tells and skipped > 0):
                continue
            out.append(
                Part(
                    kind=kind, name=names[i], sown_m2=sown, covered_m2=covered, twice_m2=twice, repeat_m2=sown - covered,
                    skipped_m2=skipped if tells else None, mass_kg={b: float(m[i]) for b, m in self.mass.items()},
                )
            )  # fmt: skip
        return tuple(out)


def labels_of(cells: CellMap, trail: Trail, places: Sequence[tuple[str, Boundary]]) -> tuple[tuple[str, ...], LabelArray]:
    """Which place each cell lies in, by its middle; -1 in none."""
    label = np.full(cells.count.shape if places else (0, 0), -1, np.int16)
    turn = np.column_stack([cells.across, cells.along])
    for i, (_, place) in enumerate(places):
        rings = [((r - cells.origin_m) @ turn / cells.cell_m - 0.5) for r in boundary_rings(place, trail.frame)]
        begin = np.concatenate([r[:-1] for r in rings])
        end = np.concatenate([r[1:] for r in rings])
        _fill(begin, end, label, i)
    return tuple(name for name, _ in places), label if places else np.full(cells.count.shape, -1, np.int16)


@jit
def _fill(begin, end, label, value):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Give the cells whose middles lie inside the rings a label, where they have none."""
    rows, columns = label.shape
    cut = np.empty(begin.shape[0])
    for r in range(rows):
        n = 0
        for k in range(begin.shape[0]):
            y0, y1 = begin[k, 1], end[k, 1]
            if (y0 <= r) != (y1 <= r):
                x0, x1 = begin[k, 0], end[k, 0]
                if y0 > y1:  # the same crossing whichever way the edge runs, so that neighbours share no cell
                    x0, y0, x1, y1 = x1, y1, x0, y0
                cut[n] = x0 + (r - y0) * (x1 - x0) / (y1 - y0)
                n += 1
        inner = np.sort(cut[:n])
        for i in range(0, n - 1, 2):
            a, b = max(int(np.ceil(inner[i])), 0), min(int(np.ceil(inner[i + 1])), columns)
            for c in range(a, b):
                if label[r, c] < 0:
                    label[r, c] = value


@jit
def by_label(label, inside, bounded, count, names):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Cells sown (each time counted), covered, covered twice and skipped on each label, label + 1 being the index."""
    sown, covered = np.zeros(names, np.int64), np.zeros(names, np.int64)
    twice, skipped = np.zeros(names, np.int64), np.zeros(names, np.int64)
    for r in range(count.shape[0]):
        for c in range(count.shape[1]):
            i, n = label[r, c] + 1, int(count[r, c])
            sown[i] += n
            covered[i] += int(n > 0)
            twice[i] += int(n > 1)
            skipped[i] += int(n == 0 and (inside[r, c] >= 0 or not bounded))
    return sown, covered, twice, skipped


@jit
def mass_of(label, dose, names):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Sum of doses on each label."""
    total = np.zeros(names)
    for r in range(label.shape[0]):
        for c in range(label.shape[1]):
            total[label[r, c] + 1] += dose[r, c]
    return total


@jit
def by_row(first, count, n):  # type: ignore[no-untyped-def]  # pragma: no cover
    """For each row of the trail the cells it sowed first, and how many of those were sown again."""
    new, again = np.zeros(n, np.int64), np.zeros(n, np.int64)
    for r in range(first.shape[0]):
        for c in range(first.shape[1]):
            k = first[r, c]
            if k >= 0:
                new[k] += 1
                again[k] += int(count[r, c] > 1)
    return new, again
