"""Where water goes and stands: drainage, low spots, lines of flow."""
