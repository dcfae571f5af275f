"""Use cases: load facts, call pure code, store, write output folders."""
