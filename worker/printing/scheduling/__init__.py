"""Which run is printed when, on which printer and from which spool."""
