"""Evenstand: what an air seeder's numbers should be, whether to believe them, and what to do next."""

__version__ = "0.1.0"
