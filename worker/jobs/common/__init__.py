"""Settings and small facts that every part of the job service uses."""
