"""Estimates of filament, print time and cost of a part, without slicing it."""
