"""From an accepted job to a Celery task."""
