"""Printing: print runs, their order and timetable, and estimates of filament, time and cost, in numbers only."""
