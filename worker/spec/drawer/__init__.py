"""Models of the drawer, its grid and joint, and its trays."""
