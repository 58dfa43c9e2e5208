"""From pieces to print runs."""
