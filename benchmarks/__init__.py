"""Timings against general-purpose libraries, and how well faults are found."""
