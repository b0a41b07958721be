"""Shapes that people bring: reading, columns, repair."""
