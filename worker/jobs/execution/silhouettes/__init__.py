"""An attempt at a silhouette: its files are read in a process of their own, with limits."""
