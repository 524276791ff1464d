"""Frozen values of the job, and the documents they are read from and written to."""
