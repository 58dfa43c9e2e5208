"""The processes: the Celery worker and the embedded broker and worker."""
