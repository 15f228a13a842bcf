"""What a person is shown of a run, read from its session alone."""
