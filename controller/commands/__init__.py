"""What each command does, after its options are read. Imported only when the command runs."""
