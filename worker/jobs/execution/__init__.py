"""Running a job: the pipeline, its lease, its limits, and help from other workers."""
