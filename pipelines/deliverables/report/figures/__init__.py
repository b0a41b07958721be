"""Drawings of the reports."""
