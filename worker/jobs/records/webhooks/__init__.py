"""Webhooks in the database: endpoints, the outbox of messages, and their deliveries."""
