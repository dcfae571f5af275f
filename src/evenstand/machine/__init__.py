"""Meters, travel, width, heads, air and liquids: pure calculation, metric."""

from evenstand.machine.across import HeadBalance, head_balance, outer_dose, turn_dose
from evenstand.machine.air import (
    FanPoint,
    WeakBand,
    air_density,
    fan_laws,
    geopotential_height,
    orifice_flow,
    saltation_velocity,
    saturation_pressure,
    standard_pressure,
    standard_temperature,
)
from evenstand.machine.delays import lag_distance, transport_lag
from evenstand.machine.holding import area_per_fill, bin_mass
from evenstand.machine.liquids import nozzle_flow, water_factor
from evenstand.machine.metering import (
    SettingCost,
    displacement_factor,
    dose_ratio,
    ground_drive_gearing,
    ground_drive_rate,
    mass_flow,
    meter_rate,
    meter_speed,
    pulse_spacing,
    speed_window,
    window_speed,
    wrong_setting_cost,
)
from evenstand.machine.travel import (
    WheelCalibration,
    caught_rate,
    distance_for_area,
    field_capacity,
    field_efficiency,
    needed_capacity,
    rolled_distance,
    timed_speed,
    turns_for_area,
    wheel_calibration,
    wheel_turns,
    work_hours,
)

__all__ = [
    "FanPoint", "HeadBalance", "SettingCost", "WeakBand", "WheelCalibration", "air_density", "area_per_fill", "bin_mass",
    "caught_rate", "displacement_factor", "distance_for_area", "dose_ratio", "fan_laws", "field_capacity", "field_efficiency",
    "geopotential_height", "ground_drive_gearing", "ground_drive_rate", "head_balance", "lag_distance", "mass_flow", "meter_rate",
    "meter_speed", "needed_capacity", "nozzle_flow", "orifice_flow", "outer_dose", "pulse_spacing", "rolled_distance",
    "saltation_velocity", "saturation_pressure", "speed_window", "standard_pressure", "standard_temperature", "timed_speed",
    "transport_lag", "turn_dose", "turns_for_area", "water_factor", "wheel_calibration", "wheel_turns", "window_speed",
    "work_hours", "wrong_setting_cost",
]  # fmt: skip
