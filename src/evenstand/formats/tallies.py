"""Medians of more numbers than memory holds."""

from __future__ import annotations

import numpy as np

from evenstand.model.place import FloatArray, IntArray

MOST_DISTINCT = 100_000
COARSE_BITS = 40


class Tally:
    """How often each value came. Exact up to `MOST_DISTINCT` different values; then each is known to 12 binary digits (1 part in 4,000)."""

    def __init__(self) -> None:
        self.values: FloatArray = np.zeros(0)
        self.counts: IntArray = np.zeros(0, dtype=np.int64)
        self.coarse = False

    def add(self, numbers: FloatArray) -> None:
        """Count numbers; those that are none are passed over."""
        numbers = np.asarray(numbers, dtype=np.float64)
        numbers = numbers[np.isfinite(numbers)]
        new, times = np.unique(_rounded(numbers) if self.coarse else numbers, return_counts=True)
        self._merge(new, times)
        if self.values.size > MOST_DISTINCT and not self.coarse:
            self.coarse = True
            old, counts = self.values, self.counts
            self.values, self.counts = np.zeros(0), np.zeros(0, dtype=np.int64)
            self._merge(_rounded(old), counts)

    def _merge(self, values: FloatArray, counts: IntArray) -> None:
        every, place = np.unique(np.concatenate([self.values, values]), return_inverse=True)
        self.counts = np.bincount(place, weights=np.concatenate([self.counts, counts]), minlength=every.size).astype(np.int64)
        self.values = every

    @property
    def n(self) -> int:
        """How many numbers were counted."""
        return int(self.counts.sum())

    def median(self, default: float) -> float:
        """The middle number, the mean of the two middle ones where their count is even."""
        if not self.values.size:
            return default
        upto = np.cumsum(self.counts)
        low, high = (self.n - 1) // 2, self.n // 2
        a, b = (float(self.values[int(np.searchsorted(upto, k, side="right"))]) for k in (low, high))
        return (a + b) / 2


def _rounded(numbers: FloatArray) -> FloatArray:
    """The lower binary digits cut off, half of what is cut put back."""
    bits = np.ascontiguousarray(numbers, dtype=np.float64).view(np.int64)
    kept = (bits >> COARSE_BITS << COARSE_BITS) + (1 << (COARSE_BITS - 1))
    return np.where(numbers == 0, 0.0, kept.view(np.float64))
