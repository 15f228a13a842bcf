"""`python -m controller` is the `fullturn` command."""

from controller.cli import main

main()
