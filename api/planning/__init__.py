"""Plans on demand: made in processes of their own that can be ended, with a fair share for each caller."""
