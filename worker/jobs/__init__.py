"""The job service: the pipeline run as jobs, with database, object store, queue and webhooks."""
