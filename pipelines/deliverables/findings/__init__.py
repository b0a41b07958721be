"""What one run found, as values, before it becomes layers, tables and words."""
