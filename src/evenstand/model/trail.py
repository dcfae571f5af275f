"""The recorded path and readings of a machine."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from evenstand.model.place import FloatArray, Frame, IntArray

BoolArray = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class SetAside:
    """A row that was not used, or was repaired. line: number in the file, the header being line 1."""

    line: int
    reason: str
    text: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Trail:
    """A trail. Absent columns are None and absent cells not-a-number, never 0. n rows in time order.

    t_ms (n,) UTC milliseconds; xy_m (n,2) in `frame` [m], of the antenna unless antenna_ahead_m was taken off; speed_m_s (n,);
    sections (n,k) on or off; revs (n,bins) cumulative meter turns; asked_kg_ha, echoed_kg_ha (n,bins); area_ha (n,) the machine's
    own area counter [ha]; step_m (n,) distance since the previous row as the machine counted it [m]; run_present (n,runs) flow seen;
    fan_turns_s (n,); lifted (n,) openers up; flags (n,) bit field of `FLAGS`; bins: letters of the bin columns; runs: numbers of the
    run columns. kept + repaired_rows + set_aside_rows = rows read. Of a very large log only the first rows repaired and set aside are
    listed; repaired_unlisted, set_aside_unlisted: how many more there were.
    """

    frame: Frame
    t_ms: IntArray
    xy_m: FloatArray
    speed_m_s: FloatArray | None = None
    sections: BoolArray | None = None
    revs: FloatArray | None = None
    asked_kg_ha: FloatArray | None = None
    echoed_kg_ha: FloatArray | None = None
    area_ha: FloatArray | None = None
    step_m: FloatArray | None = None
    mass_rate_kg_s: FloatArray | None = None
    run_present: BoolArray | None = None
    fan_turns_s: FloatArray | None = None
    lifted: BoolArray | None = None
    flags: IntArray | None = None
    bins: tuple[str, ...] = ()
    runs: tuple[int, ...] = ()
    rows: int = 0
    kept: int = 0
    repaired: tuple[SetAside, ...] = ()
    set_aside: tuple[SetAside, ...] = ()
    repaired_unlisted: int = 0
    set_aside_unlisted: int = 0
    notes: tuple[str, ...] = ()
    file_hash: str = ""
    extra: dict[str, FloatArray] = field(default_factory=dict)

    @property
    def n(self) -> int:
        """Number of rows."""
        return int(self.t_ms.shape[0])

    @property
    def repaired_rows(self) -> int:
        """How many rows were repaired, listed or not."""
        return len(self.repaired) + self.repaired_unlisted

    @property
    def set_aside_rows(self) -> int:
        """How many rows were set aside, listed or not."""
        return len(self.set_aside) + self.set_aside_unlisted


FLAGS = {"gap": 1, "jump": 2, "no-fix": 4, "reordered": 8}
