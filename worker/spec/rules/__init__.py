"""The rules that span several parts of a job: each module checks a spec as a whole and adds what it refuses."""
