"""Request bodies other than specs: batches, print events and webhooks."""
