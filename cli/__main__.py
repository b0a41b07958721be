"""`python -m cli`, the same as the console script `lotshed`."""

from cli.main import main

main()
