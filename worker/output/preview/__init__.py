"""Pictures of print runs and drawers as PNG."""
