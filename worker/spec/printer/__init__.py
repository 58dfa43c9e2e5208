"""The printer, the material, the process and the calendar."""
