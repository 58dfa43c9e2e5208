"""The plan: shapes, parts, places, cautions and the plan document."""
