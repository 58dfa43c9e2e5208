"""Estimating: filament, time and cost of a part."""
