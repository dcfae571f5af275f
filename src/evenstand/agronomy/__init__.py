"""Seed, stand and nutrients: pure calculation, no files, no clock."""

from evenstand.agronomy.bands import NutrientLine, RateChange
from evenstand.agronomy.batches import TreatChoice, TreatTonight, treat_tonight
from evenstand.agronomy.blend_parts import (
    PLACEMENTS,
    Binding,
    Blend,
    BlendLimit,
    BlendProduct,
    BlendProof,
    FreeBin,
    RunnerUp,
)
from evenstand.agronomy.blend_supplies import BlendSupply, Held, InPlace, blend_supplies
from evenstand.agronomy.blending import blend, conflict
from evenstand.agronomy.counting import Places, places_to_count, row_sample_area, stand_from_wheel, wheel_plants
from evenstand.agronomy.crops import (
    CropRange,
    Doubt,
    Plausibility,
    crop_keys,
    crop_ranges,
    depth_windows,
    doubtful_numbers,
    find_crop,
    soil_temperatures,
)
from evenstand.agronomy.depths import DepthEffect, DepthReading, DepthReport, depth_advice, depth_report
from evenstand.agronomy.establishment import (
    Achieved,
    FieldSurvival,
    NextSurvival,
    next_survival,
    survival_achieved,
    survival_prior,
    survival_spread,
)
from evenstand.agronomy.germination import (
    GerminationTest,
    TwoTests,
    germination_test,
    replicate_tolerance,
    seed_count_tolerance,
    stated_tolerance,
    two_germination_tests,
    two_test_tolerance,
)
from evenstand.agronomy.grain import bushel_weight, bushels_per_tonne, content_per_bushel, grain_test_weight
from evenstand.agronomy.keeping import Keeping, bins_overnight, critical_humidity, keeps_overnight
from evenstand.agronomy.kernels import (
    KernelWeight,
    bare_tkw,
    coated_tkw,
    kernel_weight,
    seeds_per_kg,
    tkw_from_count,
    tkw_from_seeds_per_kg,
    weighed_sample,
)
from evenstand.agronomy.lateness import LateSeeding, late_publishers, late_seeding, start_dates
from evenstand.agronomy.lots import LotPart, MixedLot, mix_lots, mixed_share, mixed_tkw
from evenstand.agronomy.nutrients import molar_mass, nutrient_factor, nutrient_in_product, nutrients_supplied, product_for_nutrient
from evenstand.agronomy.placement import PlacementVerdict, judge_placement
from evenstand.agronomy.rates import (
    METHODS,
    expected_stand,
    seed_mass_rate,
    seeding_rate,
    seeds_needed,
    seeds_sown,
    survival,
    survival_included,
    survival_points,
    survival_product,
)
from evenstand.agronomy.reseeding import KeepAdvice, KeepOrReseed, keep_or_reseed, keep_publishers
from evenstand.agronomy.row_holdings import Holding, holdings
from evenstand.agronomy.row_rules import cut_limit
from evenstand.agronomy.salts import Placed, nitrogen_form, reference_key, salt_order
from evenstand.agronomy.scatter import (
    INTERVALS,
    Dispersion,
    counts_for_precision,
    dispersion_of,
    negative_binomial_interval,
    quasi_poisson_interval,
)
from evenstand.agronomy.seed_row import (
    MOISTURES,
    NUTRIENTS,
    Limit,
    guideline_name,
    guidelines,
    opener_kind,
    opener_utilisation,
    openers,
    published_nutrients,
    row_dose,
    seed_row_limit,
    seedbed_utilisation,
)
from evenstand.agronomy.seeding import (
    Contribution,
    SeedingPlan,
    chance_of_stand,
    contributions,
    seeding_plan,
    survival_estimate,
    volume_rate,
)
from evenstand.agronomy.stands import (
    EmergenceSpread,
    Stand,
    counts_needed,
    emergence_spread,
    hoop_area,
    hoop_area_from_girth,
    rate_from_row_catch,
    row_length_for_area,
    seeds_per_metre,
    stand_from_counts,
    stand_from_row,
)
from evenstand.agronomy.thin_stands import THIN_CAUSES, Seedbed, ThinCause, ThinStand, weigh_thin_stand
from evenstand.agronomy.treating import (
    Stale,
    TreatmentMix,
    added_share,
    granular_dose,
    granular_rate,
    liquid_for_seed,
    stale_after_treating,
    treated_rate,
    treated_tkw,
    treatment_mix,
)
from evenstand.agronomy.waiting import TreatClock, plant_before

__all__ = [
    "INTERVALS", "METHODS", "MOISTURES", "NUTRIENTS", "PLACEMENTS", "THIN_CAUSES", "Achieved", "Binding", "Blend", "BlendLimit",
    "BlendProduct", "BlendProof", "BlendSupply", "Contribution", "CropRange", "DepthEffect", "DepthReading", "DepthReport", "Dispersion",
    "Doubt", "EmergenceSpread", "FieldSurvival", "FreeBin", "GerminationTest", "Held", "Holding", "InPlace", "KeepAdvice", "KeepOrReseed",
    "Keeping", "KernelWeight", "LateSeeding", "Limit", "LotPart", "MixedLot", "NextSurvival", "NutrientLine", "Placed",
    "PlacementVerdict", "Places", "Plausibility", "RateChange", "RunnerUp", "Seedbed", "SeedingPlan", "Stale", "Stand", "ThinCause",
    "ThinStand", "TreatChoice", "TreatClock", "TreatTonight", "TreatmentMix", "TwoTests", "added_share", "bare_tkw", "bins_overnight",
    "blend", "blend_supplies", "bushel_weight", "bushels_per_tonne", "chance_of_stand", "coated_tkw", "conflict", "content_per_bushel",
    "contributions", "counts_for_precision", "counts_needed", "critical_humidity", "crop_keys", "crop_ranges", "cut_limit",
    "depth_advice", "depth_report", "depth_windows", "dispersion_of", "doubtful_numbers", "emergence_spread", "expected_stand",
    "find_crop", "germination_test", "grain_test_weight", "granular_dose", "granular_rate", "guideline_name", "guidelines", "holdings",
    "hoop_area", "hoop_area_from_girth", "judge_placement", "keep_or_reseed", "keep_publishers", "keeps_overnight", "kernel_weight",
    "late_publishers", "late_seeding", "liquid_for_seed", "mix_lots", "mixed_share", "mixed_tkw", "molar_mass",
    "negative_binomial_interval", "next_survival", "nitrogen_form", "nutrient_factor", "nutrient_in_product", "nutrients_supplied",
    "opener_kind", "opener_utilisation", "openers", "places_to_count", "plant_before", "product_for_nutrient", "published_nutrients",
    "quasi_poisson_interval", "rate_from_row_catch", "reference_key", "replicate_tolerance", "row_dose", "row_length_for_area",
    "row_sample_area", "salt_order", "seed_count_tolerance", "seed_mass_rate", "seed_row_limit", "seedbed_utilisation", "seeding_plan",
    "seeding_rate", "seeds_needed", "seeds_per_kg", "seeds_per_metre", "seeds_sown", "soil_temperatures", "stale_after_treating",
    "stand_from_counts", "stand_from_row", "stand_from_wheel", "start_dates", "stated_tolerance", "survival", "survival_achieved",
    "survival_estimate", "survival_included", "survival_points", "survival_prior", "survival_product", "survival_spread",
    "tkw_from_count", "tkw_from_seeds_per_kg", "treat_tonight", "treated_rate", "treated_tkw", "treatment_mix", "two_germination_tests",
    "two_test_tolerance", "volume_rate", "weigh_thin_stand", "weighed_sample", "wheel_plants",
]  # fmt: skip
