"""What one check of swales hands over."""
