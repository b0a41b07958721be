"""The water of all lots of a town along its swales."""
