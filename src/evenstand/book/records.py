"""What a book keeps beside the machine, product, field and job types: settings, readings, tests, notes and files."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from evenstand.base.estimate import Est
from evenstand.model import Event, Frame, Reading

StepDone = Literal["open", "closed", "deferred"]
ProofPhase = Literal["as-delivered", "as-found"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Farm:
    """Whose book it is and in which units it is shown: "si", "prairie" or "us"."""

    name: str
    profile: str = "si"


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """Something the program was told once and shall remember, such as the columns of one maker's log, as text or JSON."""

    key: str
    value: str


@dataclass(frozen=True, slots=True, kw_only=True)
class JobReading:
    """A reading that belongs to a job. by: who read it."""

    key: str
    job: str
    reading: Reading
    by: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class JobEvent:
    """Something that happened at a bin during a job."""

    key: str
    job: str
    event: Event
    at: str = ""
    by: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class CatchRecord:
    """A catch test as it was done: turns [turns], share of the meter's segments caught [-], bag tare and scale division [kg],
    each catch with its bag [kg], shown_kg: what the display said was sown meanwhile [kg]. factor: what came of it [kg/turn]."""

    key: str
    outfit: str
    bin: str
    product: str
    masses_kg: tuple[float, ...]
    turns: float | None = None
    shown_kg: float | None = None
    share: float = 1.0
    tare_kg: float = 0.0
    scale_division_kg: float = 0.0
    lot: str = ""
    setting: str = ""
    factor: Est | None = None
    at: str = ""
    by: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class CallNote:
    """A telephone call: who called, what was read out, the likely causes named, what was advised. outfit and job may come later."""

    key: str
    at: str = ""
    caller: str = ""
    outfit: str = ""
    job: str = ""
    asked: str = ""
    readings: tuple[Reading, ...] = ()
    causes: tuple[str, ...] = ()
    advice: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class StepState:
    """What became of a line of the Next list. key: the step's key; until: when a deferred step comes back."""

    key: str
    state: StepDone
    at: str = ""
    until: str = ""
    by: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ProofRecord:
    """Something measured when an outfit was proven. item: as in `nextup.commissioning`; value, low, high: what was found and the band it
    was held against then [metric unit of the item]; text: what was found where it is no number; phase: as it was delivered, or as it was
    found before anything was set; by: who measured."""

    key: str
    outfit: str
    item: str
    value: float | None = None
    low: float | None = None
    high: float | None = None
    text: str = ""
    phase: ProofPhase = "as-found"
    at: str = ""
    by: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Handover:
    """A shift handed over. by: who handed over; note: what the next one should know."""

    key: str
    job: str
    at: str = ""
    by: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class TrailRecord:
    """The row that names a trail's file. parquet_hash, original_hash: sha256 of the file under `trails/` and of what it was read
    from, under `originals/`. rows = kept + repaired + set_aside."""

    key: str
    parquet_hash: str
    frame: Frame
    name: str = ""
    job: str = ""
    outfit: str = ""
    at: str = ""
    until: str = ""
    points: int = 0
    rows: int = 0
    kept: int = 0
    repaired: int = 0
    set_aside: int = 0
    original_hash: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Original:
    """A file kept as it came. hash: sha256, its name under `originals/`; name: what it was called; size_bytes [byte]."""

    hash: str
    name: str
    size_bytes: int
    at: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class CardRemark:
    """What the owner's display calls a line of the value card, for one outfit, and who set it."""

    outfit: str
    line: str
    yours: str = ""
    set_by: str = ""
    at: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportedEntry:
    """An entry of a pocket page that has been taken in. Its key is never taken in twice."""

    key: str
    kind: str = ""
    source: str = ""
    at: str = ""
