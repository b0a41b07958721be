"""A lot's report: the answer and a sheet for each reader."""
