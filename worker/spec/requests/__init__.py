"""Bodies of requests other than a spec: batches, print events, webhooks."""
