"""What a desktop GIS is offered: the steps and jobs in a form that it reads, and its plugin as one file."""
