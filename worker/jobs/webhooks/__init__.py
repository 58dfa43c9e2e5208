"""Delivery of webhooks, and which addresses may be called."""
