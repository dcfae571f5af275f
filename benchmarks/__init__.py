"""Speed against general-purpose libraries. `python -m benchmarks --seed N` writes bench-out/results.json."""
