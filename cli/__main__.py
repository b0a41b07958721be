"""`python -m cli`, the same as the console script `lotshed`."""

from cli.program import main

main()
