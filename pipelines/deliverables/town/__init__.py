"""What a run over a town hands over."""
