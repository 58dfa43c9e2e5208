"""Drawings as SVG and PDF: maps with their legends, and label sheets."""
