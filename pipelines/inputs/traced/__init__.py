"""What was drawn on the page to trace on, read back."""
