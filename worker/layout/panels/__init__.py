"""Panels: long upright strips that divide a drawer, their splices, half laps, end shoes and clips."""
