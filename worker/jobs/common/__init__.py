"""What all of the job service uses: settings, errors, principals, ids and backoff."""
