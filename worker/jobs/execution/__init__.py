"""Running a job: the pipeline, its lease and its limits."""
