"""`python -m acoustic`."""

from acoustic.cli import main

main()
