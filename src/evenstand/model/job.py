"""What is asked for."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True, kw_only=True)
class Ask:
    """One product wanted on a job: rate in kilograms per hectare [kg/ha], and the bins it shall come from, if that is settled."""

    product: str
    rate_kg_ha: float
    second_rate_kg_ha: float | None = None
    lot: str = ""
    bins: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """One field or part of it, one crop, one season.

    area_ha may stand alone when no outline is known [ha]; target_plants_m2 [plants/m²]; survival: share of seeds that become
    plants [-]; depth_m [m]; finish_by: ISO date. texture and moisture are the soil words of the seed-row guideline.
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
