"""Plans on demand, made in separate processes that can be stopped, with a fair share for each caller."""
