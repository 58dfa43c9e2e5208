"""The pipeline as a job: settings, records, blobs, the queue and the engine."""
