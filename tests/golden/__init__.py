"""Runs whose every bit is kept: they fail when physics changes, and one command takes a change over."""
