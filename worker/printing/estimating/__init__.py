"""Filament, time and cost of a part."""
