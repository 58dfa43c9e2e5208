"""The plan: shapes, parts, placements, cautions and the plan document."""
