"""What is asked for."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True, kw_only=True)
class Ask:
    """One product wanted on a job: rate in kilograms per hectare [kg/ha], and the bins it shall come from, if that is settled.

    second_rate_kg_ha: the other rate the cab can switch to [kg/ha]; step_kg_ha: what one press of the rate step changes [kg/ha];
    in_turn: several bins one after the other, not together.
    """

    product: str
    rate_kg_ha: float
    second_rate_kg_ha: float | None = None
    lot: str = ""
    bins: tuple[str, ...] = ()
    step_kg_ha: float | None = None
    in_turn: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Weather:
    """Air at the field or shed as somebody read it. temperature_c [°C], relative_humidity [-], pressure_pa, not reduced to sea level
    [Pa], height_m above the sea [m], soil_temperature_c at seed depth [°C]; at: ISO time."""

    temperature_c: float | None = None
    relative_humidity: float | None = None
    pressure_pa: float | None = None
    height_m: float | None = None
    soil_temperature_c: float | None = None
    at: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """One field or part of it, one crop, one season.

    area_ha may stand alone when no outline is known [ha]; target_plants_m2 [plants/m²]; survival: share of seeds that become
    plants, survival_sd its spread [-]; depth_m [m]; start_on, finish_by: ISO dates; day_hours: sowing hours of a workable day [h];
    workable: share of days on which work is possible [-]. texture and moisture are the soil words of the seed-row guideline.
    """

    key: str
    crop: str
    season: int
    field_key: str = ""
    outfit: str = ""
    area_ha: float | None = None
    asks: tuple[Ask, ...] = ()
    target_plants_m2: float | None = None
    survival: float | None = None
    depth_m: float | None = None
    texture: str = ""
    moisture: str = ""
    guideline: str = ""
    speed_m_s: float | None = None
    headland_rounds: int = 2
    direction_deg: float | None = None
    finish_by: str = ""
    variety: str = ""
    notes: str = ""
    extra: dict[str, str] = field(default_factory=dict)
    survival_sd: float | None = None
    start_on: str = ""
    day_hours: float | None = None
    workable: float | None = None
    weather: Weather = field(default_factory=Weather)
