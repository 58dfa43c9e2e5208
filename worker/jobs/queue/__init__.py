"""Publishing of tasks: the Celery app, the dispatcher and the background publisher."""
