"""The drawer: its outline from tape readings, and the grid placed in it."""
