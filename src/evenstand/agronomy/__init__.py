"""Seed, stand and nutrients: pure calculation, no files, no clock."""

from evenstand.agronomy.germination import replicate_tolerance, seed_count_tolerance, stated_tolerance, two_test_tolerance
from evenstand.agronomy.grain import bushel_weight, bushels_per_tonne, content_per_bushel, grain_test_weight
from evenstand.agronomy.kernels import KernelWeight, coated_tkw, kernel_weight, seeds_per_kg, tkw_from_count, tkw_from_seeds_per_kg
from evenstand.agronomy.nutrients import molar_mass, nutrient_factor, nutrient_in_product, nutrients_supplied, product_for_nutrient
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
from evenstand.agronomy.seed_row import MOISTURES, Limit, guidelines, seed_row_limit, seedbed_utilisation
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

__all__ = [
    "METHODS", "MOISTURES", "EmergenceSpread", "KernelWeight", "Limit", "Stand", "bushel_weight", "bushels_per_tonne", "coated_tkw",
    "content_per_bushel", "counts_needed", "emergence_spread", "expected_stand", "grain_test_weight", "guidelines", "hoop_area",
    "hoop_area_from_girth",
    "kernel_weight", "molar_mass", "nutrient_factor", "nutrient_in_product", "nutrients_supplied", "product_for_nutrient",
    "rate_from_row_catch", "replicate_tolerance", "row_length_for_area", "seed_count_tolerance", "seed_mass_rate", "seed_row_limit",
    "seedbed_utilisation", "seeding_rate", "seeds_needed", "seeds_per_kg", "seeds_per_metre", "seeds_sown", "stand_from_counts",
    "stand_from_row", "stated_tolerance", "survival", "survival_included", "survival_points", "survival_product",
    "tkw_from_count", "tkw_from_seeds_per_kg", "two_test_tolerance",
]  # fmt: skip
