"""Re-layout: keeps the printed trays of an earlier job."""
