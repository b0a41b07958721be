"""What one screened lot hands over."""
