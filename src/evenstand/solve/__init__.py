"""Generic mathematics with no farm words: reconciliation, error location, smoothing."""
