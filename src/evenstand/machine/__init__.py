"""Meters, travel, width, heads, air and liquids: pure calculation, metric."""

from evenstand.machine.across import HeadBalance, head_balance, outer_dose, turn_dose
from evenstand.machine.affected import Affected, rows_affected
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
from evenstand.machine.air_bands import AirBand, published_air_band
from evenstand.machine.ammonia import AMMONIA_CAUTIONS, ammonia_density, ammonia_pressure, ammonia_rate, ammonia_volume_rate
from evenstand.machine.conveying import LinePressure, line_pressure_drop
from evenstand.machine.costing import (
    CustomRate,
    HectareCost,
    capital_recovery,
    custom_rates,
    hectare_cost,
    owning_cost,
    repair_of_year,
    repair_to_date,
    salvage_value,
)
from evenstand.machine.curves import TurnProfile, tightest_radius, turn_profile, turn_shift
from evenstand.machine.delays import lag_distance, transport_lag
from evenstand.machine.factors import (
    CrankTest,
    FactorSource,
    MeterCase,
    crank_factor,
    crank_test,
    factor_from_catch,
    factor_from_displacement,
    factor_from_record,
    factor_from_shown_mass,
    usual_sd,
)
from evenstand.machine.fan_readings import fan_droop, puff_test
from evenstand.machine.fans import AirWindow, Influence, air_window, own_load_exponent, scaled_fan_speed
from evenstand.machine.floating import SaltationOpinion, floating_by_drag, saltation_opinions, terminal_velocity
from evenstand.machine.friction import air_viscosity, friction_factor
from evenstand.machine.fuel import (
    EDITIONS,
    FuelFigure,
    FuelUse,
    average_diesel,
    diesel_d497_4,
    diesel_d497_7,
    diesel_us_rounded,
    fuel_use,
    published_fuel,
)
from evenstand.machine.holding import area_per_fill, bin_mass
from evenstand.machine.liquids import (
    GaugeStep,
    fluid_flow,
    gauge_step,
    liquid_flow,
    liquid_nutrient_rate,
    liquid_orifice_bore,
    liquid_rate,
    nozzle_flow,
    nutrient_per_litre,
    pressure_for_flow,
    pulse_mass,
    water_factor,
)
from evenstand.machine.metering import (
    displacement_factor,
    ground_drive_gearing,
    ground_drive_rate,
    mass_flow,
    meter_rate,
    meter_speed,
    pulse_spacing,
    speed_window,
    window_speed,
)
from evenstand.machine.pooling import FactorChange, PooledFactor, RankedFactor, pool_factors
from evenstand.machine.powering import (
    Draft,
    DraftRatio,
    PowerFigure,
    PowerNeed,
    draft_force,
    drawbar_power,
    drawbar_share,
    implement_draft,
    opener_draft_ratio,
    power_need,
    published_power,
)
from evenstand.machine.pulses import SeedPulses, seed_pulses, seed_spacing
from evenstand.machine.resolution import SettingStep, one_count, setting_steps
from evenstand.machine.run_maps import check_run_map
from evenstand.machine.runs import (
    LIKE_FOR_LIKE,
    HeadLoad,
    HoseSpread,
    StreamLoad,
    head_loads,
    hose_mass,
    hose_spread,
    open_runs,
    plug_fill_time,
    written_head,
)
from evenstand.machine.segments import MeterFeed, SegmentSet, SetFeed, meter_feed, rescaled_factor
from evenstand.machine.settings import (
    SettingCost,
    StandInCost,
    WrongSetting,
    dose_ratio,
    stand_in_dose,
    stand_in_speed_cost,
    wrong_setting_cost,
    wrong_settings,
)
from evenstand.machine.shut_runs import ShutRuns, row_area, shut_runs, sibling_dose
from evenstand.machine.starting import (
    Lag,
    believed_lag,
    flag_test,
    lag_from_hoses,
    lag_from_strip,
    usual_lag,
)
from evenstand.machine.switching import (
    StartStopCost,
    SwitchPoint,
    missed_strip,
    start_stop_cost,
    switch_point,
)
from evenstand.machine.travel import (
    WheelCalibration,
    caught_rate,
    course_time,
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
from evenstand.machine.twin_bins import BinsTogether, BinTurn, ProductBin, bins_together
from evenstand.machine.wheels import (
    PulseDistance,
    SpeedTrust,
    StartLag,
    WheelRun,
    pulse_by_state,
    pulse_distance,
    speed_trust,
    start_lag,
    wheel_slip,
)
from evenstand.machine.widths import ThreeWidths, WidthPair, pass_overlap, three_widths
from evenstand.machine.windows import (
    OperatingWindow,
    narrowest_width,
    operating_window,
    rate_window,
    rev_window,
    shared_speed_window,
    smallest_rate,
)
from evenstand.machine.workdays import (
    WorkdayPlace,
    YearlyDays,
    chance_of_days,
    published_share,
    sd_from_extremes,
    workday_places,
    year_spread,
    yearly_days,
)
from evenstand.machine.working import (
    Deadline,
    FieldTimes,
    day_area,
    day_date,
    days_until,
    deadline,
    field_times,
    needed_day_area,
    suitable_days,
)

__all__ = [
    "AMMONIA_CAUTIONS", "EDITIONS", "LIKE_FOR_LIKE", "Affected", "AirBand", "AirWindow", "BinTurn", "BinsTogether", "CrankTest",
    "CustomRate", "Deadline", "Draft", "DraftRatio", "FactorChange", "FactorSource", "FanPoint", "FieldTimes", "FuelFigure", "FuelUse",
    "GaugeStep", "HeadBalance", "HeadLoad", "HectareCost", "HoseSpread", "Influence", "Lag", "LinePressure", "MeterCase", "MeterFeed",
    "OperatingWindow", "PooledFactor", "PowerFigure", "PowerNeed", "ProductBin", "PulseDistance", "RankedFactor", "SaltationOpinion",
    "SeedPulses", "SegmentSet", "SetFeed", "SettingCost", "SettingStep", "ShutRuns", "SpeedTrust", "StandInCost", "StartLag",
    "StartStopCost", "StreamLoad", "SwitchPoint", "ThreeWidths", "TurnProfile", "WeakBand", "WheelCalibration", "WheelRun", "WidthPair",
    "WorkdayPlace", "WrongSetting", "YearlyDays", "air_density", "air_viscosity", "air_window", "ammonia_density", "ammonia_pressure",
    "ammonia_rate", "ammonia_volume_rate", "area_per_fill", "average_diesel", "believed_lag", "bin_mass", "bins_together",
    "capital_recovery", "caught_rate", "chance_of_days", "check_run_map", "course_time", "crank_factor", "crank_test", "custom_rates",
    "day_area", "day_date", "days_until", "deadline", "diesel_d497_4", "diesel_d497_7", "diesel_us_rounded", "displacement_factor",
    "distance_for_area", "dose_ratio", "draft_force", "drawbar_power", "drawbar_share", "factor_from_catch", "factor_from_displacement",
    "factor_from_record", "factor_from_shown_mass", "fan_droop", "fan_laws", "field_capacity", "field_efficiency", "field_times",
    "flag_test", "floating_by_drag", "fluid_flow", "friction_factor", "fuel_use", "gauge_step", "geopotential_height",
    "ground_drive_gearing", "ground_drive_rate", "head_balance", "head_loads", "hectare_cost", "hose_mass", "hose_spread",
    "implement_draft", "lag_distance", "lag_from_hoses", "lag_from_strip", "line_pressure_drop", "liquid_flow", "liquid_nutrient_rate",
    "liquid_orifice_bore", "liquid_rate", "mass_flow", "meter_feed", "meter_rate", "meter_speed", "missed_strip", "narrowest_width",
    "needed_capacity", "needed_day_area", "nozzle_flow", "nutrient_per_litre", "one_count", "open_runs", "opener_draft_ratio",
    "operating_window", "orifice_flow", "outer_dose", "own_load_exponent", "owning_cost", "pass_overlap", "plug_fill_time",
    "pool_factors", "power_need", "pressure_for_flow", "published_air_band", "published_fuel", "published_power", "published_share",
    "puff_test", "pulse_by_state", "pulse_distance", "pulse_mass", "pulse_spacing", "rate_window", "repair_of_year", "repair_to_date",
    "rescaled_factor", "rev_window", "rolled_distance", "row_area", "rows_affected", "saltation_opinions", "saltation_velocity",
    "salvage_value", "saturation_pressure", "scaled_fan_speed", "sd_from_extremes", "seed_pulses", "seed_spacing", "setting_steps",
    "shared_speed_window", "shut_runs", "sibling_dose", "smallest_rate", "speed_trust", "speed_window", "stand_in_dose",
    "stand_in_speed_cost", "standard_pressure", "standard_temperature", "start_lag", "start_stop_cost", "suitable_days", "switch_point",
    "terminal_velocity", "three_widths", "tightest_radius", "timed_speed", "transport_lag", "turn_dose", "turn_profile", "turn_shift",
    "turns_for_area", "usual_lag", "usual_sd", "water_factor", "wheel_calibration", "wheel_slip", "wheel_turns", "window_speed",
    "work_hours", "workday_places", "written_head", "wrong_setting_cost", "wrong_settings", "year_spread", "yearly_days",
]  # fmt: skip
