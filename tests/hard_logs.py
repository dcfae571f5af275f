"""Logs with everything that goes wrong in one, to hold the reading in blocks against the reading of the whole file."""

from __future__ import annotations

import random
from collections.abc import Callable

COLUMNS = "time,lon,lat,speed (km/h),section 1,section 2,run 3,lifted,total distance (m),rate applied A (kg/ha),hopper note,moisture"


def row(i: int, *, hz: float = 1.0, **other: object) -> str:
    """Row i of a straight log northwards at 2 m a second; `other` replaces cells."""
    s = i / hz
    cells: dict[str, object] = {
        "time": f"2027-05-04T{(14 + int(s) // 3600) % 24:02d}:{int(s) // 60 % 60:02d}:{s % 60:06.3f}Z", "lon": "-105.0000000",
        "lat": f"{51 + s * 2.0 / 111_259.0:.9f}", "speed": 7.2, "s1": int(i % 40 < 30), "s2": int(i % 50 < 45), "run": int(i % 70 != 3),
        "lifted": int(i % 100 > 90), "total": f"{2.0 * s:.2f}", "rate": 120.0 + i % 7, "note": "text", "moisture": "" if i % 9 == 0 else 12.5,
    }  # fmt: skip
    return ",".join(str(v) for v in (cells | other).values())


def plain(rows: int) -> list[str]:
    """Nothing wrong."""
    return [COLUMNS, *(row(i) for i in range(rows))]


def mixed(rows: int, *, clocks: bool = True, seed: int = 5) -> list[str]:
    """Faults of every kind, scattered; clocks: those that fall back too."""
    rng = random.Random(seed)
    lines = plain(rows)
    for k in range(9, rows - 60, 11):
        kind = rng.randrange(15)
        i = k + rng.randrange(5)
        if kind == 0:
            lines[i] = lines[i].replace(",7.2,", ",fast,")
        elif kind == 1:
            lines[i] = lines[i].replace(",7.2,", ",-1,")
        elif kind == 2:
            lines.insert(i, lines[i - rng.randrange(3)])  # a repeat
        elif kind == 3:
            lines[i], lines[i + 3] = lines[i + 3], lines[i]
        elif kind == 4 and clocks:
            lines[i] = row(i - 1, time=lines[i - 6].split(",")[0])  # the clock falls back, the way runs on
        elif kind == 5:
            lines[i] = row(i - 1, lon=0, lat=0)
        elif kind == 6:
            lines[i] = lines[i].rsplit(",", 3)[0]
        elif kind == 7:
            lines[i] += ",more,and more"
        elif kind == 8:
            lines.insert(i, "")
        elif kind == 9:
            lines[i] = row(i - 1, note='"a, b\nand c"', s1="")
        elif kind == 10:
            lines[i] = row(i - 1, s2="perhaps", lifted="")
        elif kind == 11:
            lines[i] = row(i - 1, lon="-105.0200000")  # a leap there and back
        elif kind == 12:
            lines[i] = row(i - 1, lon="-105.0100000") + "\n" + row(i - 1, lon="-105.0000001")
        elif kind == 13:
            lines[i] = row(i - 1, time="soon", total="")
        else:
            moved = lines.pop(i)
            lines.insert(min(i + 30, len(lines)), moved)
    return lines


def states_rarely_written(rows: int) -> list[str]:
    """Machines that write changes only, the first states late; a counter that restarts."""
    out = [COLUMNS]
    for i in range(rows):
        said = {"s1": int(i % 80 < 40) if i % 20 == 7 and i > 100 else "", "run": 1 if i % 90 == 45 else 0 if i % 90 == 60 else ""}
        out.append(row(i, total=f"{2.0 * (i % 170):.2f}", s2="", **said))
    return out


def packed(rows: int) -> list[str]:
    """All sections as one text, some of it broken."""

    def cell(i: int) -> str:
        return "10x1" if i % 61 == 5 else "101" if i % 67 == 9 else f"{i // 7 % 16:04b}"

    head = COLUMNS.replace("section 1,section 2", "sections,spare")
    return [head, *(row(i, s1=cell(i), s2="") for i in range(rows))]


def whole_seconds(rows: int) -> list[str]:
    """Five rows a second, the clock in whole seconds; a pause now and then."""
    out = [COLUMNS]
    for i in range(rows):
        s = i // 5 + 40 * (i // 203)
        out.append(row(i, hz=5.0, time=f"2027-05-04T{14 + s // 3600:02d}:{s // 60 % 60:02d}:{s % 60:02d}Z"))
    return out


def midnight(rows: int) -> list[str]:
    """Time of day alone, past two midnights, with rows that have none."""
    out = [COLUMNS.replace("time,", "clock,")]
    for i in range(rows):
        s = (86_400 - 200 + i * (400 if i > rows // 2 else 1)) % 86_400
        out.append(row(i, time="" if i % 37 == 3 else f"{s // 3600:02d}:{s // 60 % 60:02d}:{s % 60:02d}"))
    return out


def hour_back(rows: int) -> list[str]:
    """A local clock that is put back by an hour while the way runs on."""
    out = [COLUMNS]
    for i in range(rows):
        s = i - (3600 if i >= rows // 2 else 0)
        out.append(row(i, time=f"2027-11-07 {14 + s // 3600:02d}:{s // 60 % 60:02d}:{s % 60:02d}"))
    return out


def not_rows(rows: int) -> list[str]:
    """The header again in the middle, and a line of sums at the end."""
    lines = plain(rows)
    return [*lines[: rows // 2], COLUMNS, *lines[rows // 2 :], "total" + "," * (COLUMNS.count(",") - 2) + f"{2 * rows},,"]


def backwards(rows: int) -> list[str]:
    """The last row first."""
    return [COLUMNS, *reversed(plain(rows)[1:])]


def twice(rows: int) -> list[str]:
    """Most of the log a second time."""
    lines = mixed(rows, clocks=False)
    return [*lines, *lines[1 : 2 * rows // 3]]


def later_part_first(rows: int) -> list[str]:
    """Two parts joined in the wrong order."""
    lines = plain(rows)
    return [COLUMNS, *lines[rows // 2 :], *lines[1 : rows // 2]]


def ends_out_of_order(rows: int) -> list[str]:
    """The last rows' clock falls back while the way runs on."""
    lines = plain(rows)
    for k in (3, 2, 1):
        lines[-k] = row(rows - k, time=lines[-20 - k].split(",")[0])
    return lines


LOGS: dict[str, Callable[[int], list[str]]] = {
    f.__name__: f
    for f in (
        plain, mixed, states_rarely_written, packed, whole_seconds, midnight, hour_back, not_rows, backwards, twice, later_part_first, ends_out_of_order,
    )
}  # fmt: skip
