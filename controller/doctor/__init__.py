"""What is installed here, and whether this computer is fit for a run: readings of it, and checks of the readings."""
