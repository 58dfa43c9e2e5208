"""From a list of items to trays in drawers."""
