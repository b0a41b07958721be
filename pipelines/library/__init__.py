"""The jobs as Python calls: sites from paths or from memory, results with layers, a summary and a picture."""
