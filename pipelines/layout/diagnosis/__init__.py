"""What is wrong on a lot."""
