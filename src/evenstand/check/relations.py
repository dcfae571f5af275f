"""Relations between readings, and the residuals, covariance and signatures that follow from where each reading comes from.

A relation is a sum that is zero when nothing is wrong: of logarithms (ratios), or of masses. Each reading adds its own noise;
what it repeats (typed factor, width, distance count) adds a gain that all readings sharing it share. So the covariance and the
signatures of causes are not written down twice: both follow from `derived_from`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import numpy.typing as npt

from evenstand.base.errors import Fault, InputError
from evenstand.check.causes import usual
from evenstand.model import Reading
from evenstand.solve.accounting import Shift
from evenstand.solve.explaining import whitener

FloatArray = npt.NDArray[np.float64]
Scale = Literal["log", "mass"]


ROLLER = "@roller"  # ends the name of a factor that is so far off that only another roller makes it so
DOOR = "@door"  # ends the name of a leak by which a bin loses more than its meter gives: a pile under the cart
FAR_OFF = (0.65, 1.55)  # mass out of the bin over mass by the meter beyond which another roller is thought of: they differ by 2 and more


@dataclass(frozen=True, slots=True, kw_only=True)
class Relation:
    """A sum that is zero when nothing is wrong.

    key: its name; about: what it is about ("distance", "width", "area", "bin A", "rate A"); text: in words; scale: "log" sums
    logarithms, "mass" sums kilograms; terms: (quantity, factor) pairs; constant: known part of the sum [log or kg];
    loads: what a unit of each cause adds [log or kg per unit]; gains: what one usual standard deviation of something shared adds
    [log or kg]; noise: own standard deviation beside that of the readings [log or kg]; overlap: what a unit of overlap adds;
    echo: no witness takes part, so it checks arithmetic and typing only.
    """

    key: str
    about: str
    text: str
    scale: Scale = "log"
    terms: tuple[tuple[str, float], ...]
    constant: float = 0.0
    loads: Mapping[str, float] = field(default_factory=dict)
    gains: Mapping[str, float] = field(default_factory=dict)
    noise: float = 0.0
    overlap: float = 0.0
    echo: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class System:
    """All relations of a day as numbers.

    relations (k); quantities (n): readings that take part; y (n,): their values, logarithms where relations are of logarithms;
    own (n, n): covariance of the readings' own noise; rows (k, n): derivative of each relation by each reading; residual (k,);
    covariance (k, k): own noise, shared gains and the relations' own noise; variants: names of the causes, one for each
    interval where they differ ("fill-missed:A@2"); signatures (k, q): effect of a unit of each; overlap (k,).
    """

    relations: tuple[Relation, ...]
    quantities: tuple[str, ...]
    y: FloatArray
    own: FloatArray
    rows: FloatArray
    residual: FloatArray
    covariance: FloatArray
    variants: tuple[str, ...]
    signatures: FloatArray
    overlap: FloatArray

    @property
    def witness(self) -> npt.NDArray[np.bool_]:
        """Which relations hold a witness, shape (k,)."""
        return np.array([not r.echo for r in self.relations], dtype=bool)


def label(variant: str) -> str:
    """The cause's name without its interval. [-]

    Parameters
    ----------
    variant : str
        Such as "fill-missed:A@2". [-]
    """
    return variant.partition("@")[0]


def gains_of(reading: Reading) -> dict[str, float]:
    """What each cause does to the logarithm of a reading, from what it repeats. [-]

    Parameters
    ----------
    reading : Reading
        With `derived_from`. [-]
    """
    gains: dict[str, float] = {}
    for name in reading.derived_from:
        kind, _, where = name.partition(":")
        if kind == "F":
            gains[f"factor:{where}"] = -1.0
        elif kind == "W":
            gains["width"] = 1.0
        elif kind == "V":
            gains["distance"] = 1.0
        elif kind == "density":
            gains[f"density:{where}"] = -1.0
    return gains


def usual_gains(loads: Mapping[str, float]) -> dict[str, float]:
    """What usual variation of the same gains adds, one standard deviation each. [as the loads]

    Parameters
    ----------
    loads : mapping
        What a unit of each cause adds. [log or kg per unit]
    """
    known = {"factor": "factor", "distance": "distance", "width": "width"}
    found: dict[str, float] = {}
    for variant, load in loads.items():
        kind = variant.partition(":")[0]
        if kind in known and load:
            found[f"usual {label(variant)}"] = load * usual(known[kind])
    return found


def log_relation(
    key: str,
    about: str,
    text: str,
    above: Reading,
    below: Reading | None = None,
    *,
    constant: float = 0.0,
    loads: Mapping[str, float] | None = None,
    gains: Mapping[str, float] | None = None,
    noise: float = 0.0,
    overlap: float = 0.0,
) -> Relation:
    """log(above) - log(below) - constant = 0, its loads taken from what the two readings repeat.

    Range: readings above 0, whose logarithm exists.

    Parameters
    ----------
    key, about, text : str
        As in `Relation`. [-]
    above, below : Reading
        The two readings; `below` None compares with the constant alone. [any, the same]
    constant : float
        Logarithm of the known number. [-]
    loads, gains : mapping
        Added to what follows from the readings. [per unit]
    noise, overlap : float
        As in `Relation`. [-]

    Returns
    -------
    Relation
        Of logarithms. [-]

    References
    ----------
    definition: logarithm of a ratio of two readings, to first order in what each repeats.
    """
    sides = [(above, 1.0)] + ([(below, -1.0)] if below is not None else [])
    total: dict[str, float] = {}
    for reading, sign in sides:
        for cause, gain in gains_of(reading).items():
            total[cause] = total.get(cause, 0.0) + sign * gain
    for cause, load in (loads or {}).items():
        total[cause] = total.get(cause, 0.0) + load
    total = {cause: load for cause, load in total.items() if abs(load) > 1e-12}
    return Relation(
        key=key,
        about=about,
        text=text,
        terms=tuple((r.quantity, s) for r, s in sides),
        constant=constant,
        loads=total,
        gains={**usual_gains(total), **(gains or {})},
        noise=noise,
        overlap=overlap,
        echo=all(r.nature == "echo" for r, _ in sides),
    )


def assemble(relations: Iterable[Relation], readings: Sequence[Reading], causes: Sequence[str] = ()) -> System:
    """Put relations and readings together.

    Parameters
    ----------
    relations : iterable of Relation
        Those whose readings are missing are left out. [-]
    readings : sequence of Reading
        One for each quantity; of several the last counts. [metric]
    causes : sequence of str
        Only these are looked for, by name; empty: all the relations know. [-]

    Raises
    ------
    InputError
        Where a reading that enters a ratio is not above 0, or has no spread that is a number.
    """
    by_name = {r.quantity: r for r in readings}
    used = tuple(r for r in relations if all(q in by_name for q, _ in r.terms))
    columns: dict[tuple[str, Scale], int] = {}
    for relation in used:
        for quantity, _ in relation.terms:
            columns.setdefault((quantity, relation.scale), len(columns))
    _refuse(columns, by_name)
    y = np.array([math.log(by_name[q].value) if scale == "log" else by_name[q].value for q, scale in columns], dtype=np.float64)
    own = _own_noise(columns, by_name)
    rows = np.zeros((len(used), len(columns)))
    for k, relation in enumerate(used):
        for quantity, times in relation.terms:
            rows[k, columns[quantity, relation.scale]] += times
    constant = np.array([r.constant for r in used], dtype=np.float64)
    residual = (rows @ y if columns else np.zeros(len(used))) - constant
    variants = _variants(used, causes)
    signatures = _table([r.loads for r in used], variants)
    variants, signatures = _with_rollers(used, residual, variants, signatures)
    return System(
        relations=used,
        quantities=tuple(q for q, _ in columns),
        y=y,
        own=own,
        rows=rows,
        residual=residual,
        covariance=rows @ own @ rows.T + shared_covariance(used),
        variants=variants,
        signatures=signatures,
        overlap=np.array([r.overlap for r in used], dtype=np.float64),
    )


def _refuse(columns: Mapping[tuple[str, Scale], int], by_name: Mapping[str, Reading]) -> None:
    faults = []
    for quantity, scale in columns:
        reading = by_name[quantity]
        if not math.isfinite(reading.value) or (scale == "log" and reading.value <= 0):
            faults.append(Fault(where=quantity, what=f"{reading.value:g} cannot be compared", limit="above 0", cure="Read it again."))
        if not (math.isfinite(reading.sd) and reading.sd >= 0):
            faults.append(Fault(where=f"{quantity}, sd", what=f"{reading.sd:g} is no standard deviation", limit="0 <= sd"))
    if faults:
        raise InputError(faults)


def _own_noise(columns: Mapping[tuple[str, Scale], int], by_name: Mapping[str, Reading]) -> FloatArray:
    """Covariance of the readings' own noise; one reading used as a mass and as a logarithm is fully shared."""
    names = list(columns)
    sds = np.array([by_name[q].sd / by_name[q].value if scale == "log" else by_name[q].sd for q, scale in names], dtype=np.float64)
    first = {q: i for i, (q, _) in reversed(list(enumerate(names)))}
    which = np.array([first[q] for q, _ in names], dtype=np.int64)
    return np.asarray(np.where(which[:, None] == which[None, :], np.outer(sds, sds), 0.0), dtype=np.float64)


def shared_covariance(relations: Sequence[Relation]) -> FloatArray:
    """Covariance by shared gains and by the relations' own noise, (k, k). [log or kg, squared]

    Parameters
    ----------
    relations : sequence of Relation
        With gains and noise. [-]
    """
    names = sorted({name for r in relations for name in r.gains})
    shared = _table([r.gains for r in relations], names)
    return np.asarray(shared @ shared.T + np.diag([r.noise**2 for r in relations]), dtype=np.float64)


def _table(rows: Sequence[Mapping[str, float]], names: Sequence[str]) -> FloatArray:
    """Numbers by name as a table, (rows, names); 0 where a row has none."""
    column = {name: i for i, name in enumerate(names)}
    out = np.zeros((len(rows), len(names)))
    for k, row in enumerate(rows):
        for name, value in row.items():
            if name in column:
                out[k, column[name]] = value
    return out


def _variants(relations: Sequence[Relation], causes: Sequence[str]) -> tuple[str, ...]:
    found: dict[str, None] = {}
    for relation in relations:
        for variant, load in relation.loads.items():
            if load and (not causes or label(variant) in causes):
                found[variant] = None
    return tuple(found)


def _with_rollers(
    relations: Sequence[Relation], residual: FloatArray, variants: tuple[str, ...], signatures: FloatArray
) -> tuple[tuple[str, ...], FloatArray]:
    """Factors that are far off, as a wrong roller makes them, beside those that are a little off.

    A meter of size s takes exp(s) times the mass, so far from 0 its unit effect on a mass is not its load; it is taken at the size that the
    masses themselves ask for.
    """
    names, columns = list(variants), [signatures]
    mass = np.array([r.scale == "mass" for r in relations], dtype=bool)
    for j, variant in enumerate(variants):
        load = np.where(mass, signatures[:, j], 0.0)
        total = float(load.sum())
        share = float(residual[load != 0].sum()) / total if total > 0 else 0.0
        if variant.startswith("factor:") and 1 + share > 0.02 and not FAR_OFF[0] < 1 + share < FAR_OFF[1]:
            at = share / math.log1p(share)
            columns.append(np.where(mass, at, 1.0)[:, None] * signatures[:, [j]])
            names.append(f"{variant}{ROLLER}")
    return tuple(names), np.hstack(columns)


def overlap_shift(system: System, whiten: FloatArray, low: float, high: float) -> Shift | None:
    """The overlap that is always there: a band with soft edges, never below 0. [-]

    Parameters
    ----------
    system : System
        With its `overlap` column. [-]
    whiten : array (k, k)
        From `whitener`. [-]
    low, high : float
        The usual band, as shares. [-]
    """
    if not np.any(system.overlap):
        return None
    soft = usual("overlap-spread")
    values = np.linspace(max(0.0, low - 2 * soft), high + 2.5 * soft, 13)
    outside = np.maximum(0.0, low - values) + np.maximum(0.0, values - high)
    weights = np.exp(-0.5 * (outside / soft) ** 2)
    return Shift(direction=whiten @ system.overlap, values=values, weights=weights / weights.sum())


def whitened(system: System) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Whitening matrix, whitened residual and whitened signatures. [sd, sd per unit]

    Parameters
    ----------
    system : System
        From `assemble`. [-]
    """
    matrix = whitener(system.covariance)
    return matrix, matrix @ system.residual, matrix @ system.signatures
