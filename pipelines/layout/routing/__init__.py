"""How lines are routed."""
