"""`python -m controller` is the `fullturn` command."""

from controller.cli.main import main

main()
