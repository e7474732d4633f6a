"""Gates."""

from pipeline.checks.job import Job
from pipeline.draft import Draft


def ask(job: Job) -> Draft:
    """X."""
    return job.draft
