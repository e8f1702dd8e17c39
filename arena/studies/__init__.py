"""Experiments: plans of many trials, what they came to with its intervals, and kits of many copies."""
