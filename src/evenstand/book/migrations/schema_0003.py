"""Schema 3: what the value card is proven by: fan, flags, pulses by load and soil, caught heads, label hours, weather, costs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, cast

from sqlalchemy import Boolean, Column, Double, ForeignKey, Integer, Text, UniqueConstraint

from evenstand.book.columns import Moment
from evenstand.book.geopackage import register_table

if TYPE_CHECKING:
    import sqlite3

    from alembic.operations import Operations

_NUMBERS = {
    "lots": ("sow_within_h",),
    "outfits": (
        "stand_in_m_s", "fan_proof_temperature_c", "fan_proof_relative_humidity", "fan_proof_pressure_pa", "fan_proof_height_m",
        "fan_proof_load_kg_s", "flag_on_m", "flag_on_m_sd", "flag_off_m", "flag_off_m_sd", "flag_speed_m_s", "costs_fuel_l_ha",
        "costs_fuel_price_l", "costs_wage_h", "hitch_m",
    ),
    "outfit_heads": ("caught_kg",),
    "jobs": (
        "survival_sd", "day_hours", "workable", "weather_temperature_c", "weather_relative_humidity", "weather_pressure_pa",
        "weather_height_m", "weather_soil_temperature_c",
    ),
    "job_asks": ("step_kg_ha",),
}  # fmt: skip
_TEXTS = {"outfits": ("fan_proof_crop", "fan_proof_at", "flag_at"), "jobs": ("start_on",)}
_SOURCES = {"outfits": ("flag_on_m_basis", "flag_on_m_source", "flag_off_m_basis", "flag_off_m_source")}


def upgrade(operations: Operations, at: str) -> None:
    """Add columns and a table; nothing that is there is changed, and what older rows do not know stays empty."""
    for table, names in _NUMBERS.items():
        for name in names:
            operations.add_column(table, Column(name, Double))
    for table, names in _TEXTS.items():
        for name in names:
            operations.add_column(table, Column(name, Text, nullable=False, server_default=""))
    for table, names in _SOURCES.items():
        for name in names:
            operations.add_column(table, Column(name, Text))
    operations.add_column("outfit_bins", Column("meter_flutes", Integer))
    operations.add_column("jobs", Column("weather_at", Moment))
    operations.add_column("job_asks", Column("in_turn", Boolean(create_constraint=False), nullable=False, server_default="0"))
    operations.create_table(
        "outfit_pulses",
        Column("fid", Integer, primary_key=True),
        Column("outfit", Text, ForeignKey("outfits.key", deferrable=True, initially="DEFERRED"), nullable=False),
        Column("position", Integer, nullable=False),
        _text("load"), _text("soil"), Column("pulse_m", Double), Column("pulse_m_sd", Double), Column("pulse_m_basis", Text),
        Column("pulse_m_source", Text), _text("at"), UniqueConstraint("outfit", "position"),
        sqlite_autoincrement=True,
    )  # fmt: skip
    driver = cast("sqlite3.Connection", operations.get_bind().connection.driver_connection)
    register_table(driver, "outfit_pulses", description="Distance per pulse by load and soil", at=at)


def _text(name: str) -> Column[Any]:
    return Column(name, Text, nullable=False)
