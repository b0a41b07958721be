"""From a site to a plan: whole jobs and the rooms they use."""
