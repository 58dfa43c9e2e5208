"""Maps, legends and label sheets."""
