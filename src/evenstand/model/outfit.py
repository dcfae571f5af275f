"""Tractor, tool and cart as hitched."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from evenstand.base.estimate import Est

Placement = Literal["seed-row", "side-band", "mid-row"]
DriveKind = Literal["motor", "ground", "unknown"]
SpeedSource = Literal["gnss", "wheel", "radar", "unknown"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Stream:
    """One of the air paths. `placement` is where it ends in the soil; None is not known."""

    key: str
    placement: Placement | None = None
    label: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Meter:
    """What doses a bin. Speeds of the shaft in turns/s; `litres_turn` for all segments that turn. [L/turn]

    segments: how many rollers the meter has; feeding_m: width those segments feed (None: the whole tool) [m];
    setting: roller and gear as the owner names them; steady_low/high_turns_s: range in which it doses evenly [turns/s];
    flutes: pockets around the roller, staggered rows counted apart.
    """

    roller: str = ""
    setting: str = ""
    segments: int | None = None
    feeding_m: float | None = None
    litres_turn: Est | None = None
    steady_low_turns_s: float | None = None
    steady_high_turns_s: float | None = None
    flutes: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Bin:
    """A bin: a letter, the owner's own label and position, what it holds when brim-full, its stream and meter.

    capacity_m3: brim-full [m³]; fill_share: share of that a fill reaches in practice [-];
    low_light_kg: mass left when the low-level light comes on, if it has been learned [kg].
    """

    letter: str
    label: str = ""
    position: str = ""
    capacity_m3: Est | None = None
    fill_share: float = 0.95
    stream: str | None = None
    meter: Meter = field(default_factory=Meter)
    low_light_kg: Est | None = None
    has_scale: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Head:
    """A distributor head: letter, the meter segment that feeds it, its stream, its number of outlets and primary hose [m];
    caught_kg: what came out of the whole head in a catch over the same turns as the other heads' [kg]."""

    letter: str
    outlets: int
    stream: str | None = None
    segment: int | None = None
    primary_m: float | None = None
    caught_kg: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """One hose from a head's outlet to an opener. `number` counts openers from the left as seen from the seat.

    offset_m: across the tool from its middle, left negative [m]; rank: 1 is the front row of openers;
    sensor: number the sensor shows in the cab, None without one; hose_m: length [m].
    """

    number: int
    head: str
    outlet: int
    offset_m: float
    rank: int = 1
    hose_m: float | None = None
    sensor: int | None = None
    shut: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Widths:
    """Three widths: taped, typed for the rate, typed for guidance; each None until known. [m]"""

    true_m: Est | None = None
    rate_m: float | None = None
    guidance_m: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """A part of the tool that can be shut off: left and right edge across the tool from its middle, left negative. [m]"""

    number: int
    left_m: float
    right_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FanProof:
    """What it was like when the fan speed was proven. temperature_c [°C], relative_humidity [-], pressure_pa at the fan, not reduced
    to sea level [Pa], height_m above the sea where no barometer was read [m]; crop: the seed that ran; load_kg_s: product through all
    lines together [kg/s]; at: ISO day."""

    temperature_c: float | None = None
    relative_humidity: float | None = None
    pressure_pa: float | None = None
    height_m: float | None = None
    crop: str = ""
    load_kg_s: float | None = None
    at: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class FlagTest:
    """A flag set where the switch went on and another where it went off, then dug for the first and the last seed. on_m, off_m: from
    flag to seed, driven at speed_m_s [m, m/s]; at: ISO day."""

    on_m: Est | None = None
    off_m: Est | None = None
    speed_m_s: float | None = None
    at: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PulseTest:
    """Distance per pulse as driven by tape, for one load of the cart and one soil state [m/pulse]: "empty", "half", "full"; "stubble"."""

    load: str
    soil: str
    pulse_m: Est
    at: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Costs:
    """What working costs, as typed: fuel_l_ha [L/ha], fuel_price_l [money/L], wage_h: of all who work with the outfit [money/h]."""

    fuel_l_ha: float | None = None
    fuel_price_l: float | None = None
    wage_h: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Outfit:
    """Tractor + tool + cart as hitched. Unknown is None or empty, never a guess.

    row_spacing_m: between openers [m]; spread_m: width of the seed and fertilizer band an opener leaves [m];
    rows: number of openers; speed_m_s: usual working speed [m/s]; pulse_m: distance per pulse in force [m/pulse];
    wheel_m: rolled length of the drive or counting wheel per turn [m]; turn_radius_m: smallest with openers up [m];
    antenna_ahead_m: from the openers' middle rank forward to the antenna [m]; hitch_m: likewise forward to the hitch the tool is drawn
    by, None: not known, or mounted [m]; overlap_low/high: usual share sown twice [-];
    stand_in_m_s: speed typed for when the sensor fails [m/s]; fan_proof: when the fan speed was proven; flag: the flag test in force;
    pulses: distance per pulse by load and soil; costs: as typed.
    """

    key: str
    name: str
    drive: DriveKind = "unknown"
    speed_source: SpeedSource = "unknown"
    rows: int | None = None
    row_spacing_m: float | None = None
    spread_m: float | None = None
    opener: str = ""
    widths: Widths = field(default_factory=Widths)
    bins: tuple[Bin, ...] = ()
    streams: tuple[Stream, ...] = ()
    heads: tuple[Head, ...] = ()
    runs: tuple[Run, ...] = ()
    sections: tuple[Section, ...] = ()
    sensor_streams: tuple[str, ...] = ()
    speed_m_s: float | None = None
    pulse_m: Est | None = None
    wheel_m: float | None = None
    turn_radius_m: float | None = None
    antenna_ahead_m: float = 0.0
    hitch_m: float | None = None
    fan_turns_s: Est | None = None
    overlap_low: float = 0.01
    overlap_high: float = 0.04
    stand_in_m_s: float | None = None
    fan_proof: FanProof = field(default_factory=FanProof)
    flag: FlagTest = field(default_factory=FlagTest)
    pulses: tuple[PulseTest, ...] = ()
    costs: Costs = field(default_factory=Costs)

    @property
    def width_m(self) -> float | None:
        """The best known true width: taped, else rows times spacing, else the width typed for the rate. [m]"""
        if self.widths.true_m is not None:
            return self.widths.true_m.value
        if self.rows and self.row_spacing_m:
            return self.rows * self.row_spacing_m
        return self.widths.rate_m

    def bin(self, letter: str) -> Bin:
        """The bin of that letter; `KeyError` if there is none."""
        for b in self.bins:
            if b.letter == letter:
                return b
        raise KeyError(letter)
